-- Who may speak to a park: kiosks, handhelds, chronograph benches. Operational, not evidence. A device is revoked, never removed.
CREATE TABLE log.device (
    park text COLLATE "C" NOT NULL,
    id text COLLATE "C" NOT NULL,
    name text NOT NULL,
    roles text[] NOT NULL,
    station text,
    secret_hash bytea NOT NULL,
    enrolled_at timestamptz NOT NULL,
    revoked_at timestamptz,
    PRIMARY KEY (park, id)
);

GRANT SELECT, INSERT, UPDATE (revoked_at) ON log.device TO fieldledger_service;
