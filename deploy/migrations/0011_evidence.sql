-- What proves the log: the nodes of its Merkle tree, which can be made again from the leaves, and its signed checkpoints.
CREATE SCHEMA evidence;
GRANT USAGE ON SCHEMA evidence TO fieldledger_service;

-- Tile (level, index) holds up to 256 hashes, 32 bytes each: those of the full subtrees of 256^level leaves from number
-- 256·index on. A tile grows at its end; when it is full, the hash over it is the next one of the tile above.
CREATE TABLE evidence.tile (
    park text COLLATE "C" NOT NULL,
    level smallint NOT NULL CHECK (level >= 0),
    index bigint NOT NULL CHECK (index >= 0),
    hashes bytea NOT NULL CHECK (length(hashes) % 32 = 0 AND length(hashes) BETWEEN 32 AND 8192),
    PRIMARY KEY (park, level, index)
);
ALTER TABLE evidence.tile ALTER COLUMN hashes SET STORAGE EXTERNAL; -- hashes cannot be compressed

GRANT SELECT, INSERT, UPDATE (hashes), DELETE ON evidence.tile TO fieldledger_service;

-- Every checkpoint that was signed. Each lies outside the database too, and was there first.
CREATE TABLE evidence.checkpoint (
    park text COLLATE "C" NOT NULL,
    epoch int NOT NULL CHECK (epoch >= 1),
    size bigint NOT NULL CHECK (size >= 1),
    root bytea NOT NULL CHECK (length(root) = 32),
    note text NOT NULL,
    signed_at timestamptz NOT NULL,
    PRIMARY KEY (park, epoch, size)
);

GRANT SELECT, INSERT ON evidence.checkpoint TO fieldledger_service;

CREATE TRIGGER history BEFORE UPDATE OR DELETE OR TRUNCATE ON evidence.checkpoint
    EXECUTE FUNCTION log.refuse_change();
ALTER TABLE evidence.checkpoint ENABLE ALWAYS TRIGGER history;
