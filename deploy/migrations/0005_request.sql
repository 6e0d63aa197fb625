-- What was asked for, and where its events lie: a request that comes again gets its first answer.
CREATE TABLE log.request (
    park text COLLATE "C" NOT NULL,
    id uuid NOT NULL,
    device text COLLATE "C" NOT NULL,
    digest bytea NOT NULL,
    first_position bigint NOT NULL,
    last_position bigint NOT NULL CHECK (last_position >= first_position),
    PRIMARY KEY (park, id)
);

GRANT SELECT, INSERT ON log.request TO fieldledger_service;
