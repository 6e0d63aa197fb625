-- Where each park's log ends. Whoever appends holds this row, so positions are dense and commit in order.
-- An epoch is a life of the log between restores; positions run on through it.
CREATE TABLE log.park_head (
    park text COLLATE "C" PRIMARY KEY,
    epoch int NOT NULL CHECK (epoch >= 1),
    position bigint NOT NULL CHECK (position >= 0),
    recorded_at timestamptz NOT NULL
) WITH (fillfactor = 10);

GRANT SELECT, INSERT, UPDATE (position, recorded_at) ON log.park_head TO fieldledger_service;
