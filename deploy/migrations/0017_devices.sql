-- Invitations, by the hash of their code: the code itself is shown once and kept nowhere. `invitation` is the id of the event that made it.
CREATE TABLE log.invitation (
    park text COLLATE "C" NOT NULL,
    code_hash bytea NOT NULL,
    device text COLLATE "C" NOT NULL,
    invitation uuid NOT NULL,
    made_at timestamptz NOT NULL,
    PRIMARY KEY (park, code_hash)
);

GRANT SELECT, INSERT, DELETE ON log.invitation TO fieldledger_service;

-- `position`: of the event that a device's row stands on. Of an enrolment and a revocation at the same time the later event wins,
-- whichever is written down here last.
ALTER TABLE log.device ADD COLUMN position bigint NOT NULL DEFAULT 0;
GRANT UPDATE (roles, station, secret_hash, enrolled_at, revoked_at, position) ON log.device TO fieldledger_service;

-- What a device said of itself when it was last heard; written now and then, never on a request's way.
CREATE TABLE log.device_contact (
    park text COLLATE "C" NOT NULL,
    device text COLLATE "C" NOT NULL,
    seen_at timestamptz NOT NULL,
    version text,
    ahead_ms bigint,
    last_seq bigint,
    PRIMARY KEY (park, device)
);

GRANT SELECT, INSERT, UPDATE ON log.device_contact TO fieldledger_service;
