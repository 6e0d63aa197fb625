-- Personal data, sealed per person, outside the log. The keys that open them lie here wrapped, under a master key that
-- no database role can read. A row is written once and taken away with its person; nothing is changed in place.
CREATE SCHEMA vault;
GRANT USAGE ON SCHEMA vault TO fieldledger_service;

CREATE TABLE vault.person_key (
    park text COLLATE "C" NOT NULL,
    person text COLLATE "C" NOT NULL,
    wrapped bytea NOT NULL,
    made_at timestamptz NOT NULL,
    PRIMARY KEY (park, person)
);

-- `event` is the id of the request that brought the detail, and so of its event in the log. A row whose event is not
-- there was left by a process that died in between; the same request sent again makes it whole.
CREATE TABLE vault.detail (
    park text COLLATE "C" NOT NULL,
    event uuid NOT NULL,
    person text COLLATE "C" NOT NULL,
    entry text COLLATE "C" NOT NULL,
    kind text COLLATE "C" NOT NULL,
    sealed bytea NOT NULL,
    kept_at timestamptz NOT NULL,
    PRIMARY KEY (park, event)
);

CREATE INDEX detail_person ON vault.detail (park, person);

GRANT SELECT, INSERT, DELETE ON vault.person_key, vault.detail TO fieldledger_service;
