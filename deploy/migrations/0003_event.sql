-- What happened, in the order it was recorded. The leaf is the evidence; the other columns are an index over it.
CREATE TABLE log.event (
    park text COLLATE "C" NOT NULL,
    position bigint NOT NULL CHECK (position >= 1),
    epoch int NOT NULL,
    id uuid NOT NULL,
    type text COLLATE "C" NOT NULL,
    day date NOT NULL,
    occurred_at timestamptz NOT NULL,
    recorded_at timestamptz NOT NULL,
    device text COLLATE "C" NOT NULL,
    tags text[] NOT NULL,
    leaf bytea NOT NULL,
    PRIMARY KEY (park, position),
    UNIQUE (park, id)
);

GRANT SELECT, INSERT ON log.event TO fieldledger_service;
