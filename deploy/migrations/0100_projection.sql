-- Read tables, rebuildable from the log. A generation is one build of a projection for a park; its row here is its
-- checkpoint. Exactly one generation is live; a rebuild fills another beside it and moves the mark.
CREATE SCHEMA projection;
GRANT USAGE ON SCHEMA projection TO fieldledger_service;

CREATE TABLE projection.checkpoint (
    generation bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    name text NOT NULL,
    park text NOT NULL,
    live boolean NOT NULL,
    epoch int NOT NULL DEFAULT 1,
    position bigint NOT NULL DEFAULT 0
) WITH (fillfactor = 50);

CREATE UNIQUE INDEX one_live_generation ON projection.checkpoint (name, park) WHERE live;

-- What a projection knows about each tag, and the last event that told it something.
CREATE TABLE projection.state (
    generation bigint NOT NULL,
    tag text COLLATE "C" NOT NULL,
    position bigint NOT NULL,
    state bytea NOT NULL,
    PRIMARY KEY (generation, tag)
) WITH (fillfactor = 70);

GRANT SELECT, INSERT, UPDATE, DELETE ON projection.checkpoint, projection.state TO fieldledger_service;
