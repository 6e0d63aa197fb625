-- Webhooks: where events are sent to, and how far each receiver has come. Operational, not evidence: whatever is sent is read from the log.
CREATE SCHEMA reading;
GRANT USAGE ON SCHEMA reading TO fieldledger_service;

-- One opening of a webhook, under the id of its event in the log: a row whose event is not there was left by a process that died in between.
-- `sealed` is address and secret under a key that lies outside the database; closing takes it away. Everything up to `position` is dealt with,
-- NULL before anything was; the letter that is under way reaches from `letter_first` to `letter_last`, and was written here before it was sent.
CREATE TABLE reading.webhook (
    park text COLLATE "C" NOT NULL,
    opening uuid NOT NULL,
    webhook text COLLATE "C" NOT NULL,
    sealed bytea,
    opened_at timestamptz NOT NULL,
    position bigint,
    letter_first bigint,
    letter_last bigint,
    tries int NOT NULL DEFAULT 0,
    why text NOT NULL DEFAULT '',
    PRIMARY KEY (park, opening)
);

-- Letters that were given up. `replay` is set while one is to be sent again, by somebody's wish.
CREATE TABLE reading.dead_letter (
    park text COLLATE "C" NOT NULL,
    opening uuid NOT NULL,
    webhook text COLLATE "C" NOT NULL,
    epoch int NOT NULL,
    first bigint NOT NULL,
    last bigint NOT NULL,
    events int NOT NULL,
    tries int NOT NULL,
    why text NOT NULL,
    given_up_at timestamptz NOT NULL,
    replay boolean NOT NULL DEFAULT false,
    PRIMARY KEY (park, opening, first)
);

GRANT SELECT, INSERT, UPDATE, DELETE ON reading.webhook TO fieldledger_service;
GRANT SELECT, INSERT, UPDATE, DELETE ON reading.dead_letter TO fieldledger_service;
