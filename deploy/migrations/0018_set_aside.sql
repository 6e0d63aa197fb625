-- Lines of batches that were not recorded and wait for a person. Once judged only their hash is left of them.
CREATE TABLE log.set_aside (
    park text COLLATE "C" NOT NULL,
    id text COLLATE "C" NOT NULL, -- follows from the device and the line's bytes: the same line sent again is the same row
    device text COLLATE "C" NOT NULL,
    roles text[] NOT NULL,
    seq bigint,
    key uuid,
    received_at timestamptz NOT NULL,
    device_time timestamptz,
    claimed bytea, -- as it came; of one that is too long, its beginning
    sha256 bytea NOT NULL CHECK (length(sha256) = 32),
    why text NOT NULL, -- the problem's type
    detail text NOT NULL,
    judged_at timestamptz,
    judged_by text,
    outcome text CHECK (outcome IN ('accepted', 'dismissed', 'recorded')),
    PRIMARY KEY (park, id),
    CHECK ((judged_at IS NULL) = (outcome IS NULL)),
    CHECK ((judged_at IS NULL) = (claimed IS NOT NULL))
);
CREATE INDEX set_aside_waiting ON log.set_aside (park, device, received_at) WHERE judged_at IS NULL;

GRANT SELECT, INSERT, UPDATE (claimed, judged_at, judged_by, outcome) ON log.set_aside TO fieldledger_service;

-- Each device's own numbers: those of its recorded events, a projection of the log, and those that it was told are refused.
CREATE TABLE log.sequence (
    park text COLLATE "C" NOT NULL,
    device text COLLATE "C" NOT NULL,
    held int8multirange NOT NULL DEFAULT '{}',
    refused int8multirange NOT NULL DEFAULT '{}',
    PRIMARY KEY (park, device)
);
-- How far the log has been counted.
CREATE TABLE log.counted (
    park text COLLATE "C" PRIMARY KEY,
    epoch int NOT NULL,
    position bigint NOT NULL
);

GRANT SELECT, INSERT, UPDATE ON log.sequence, log.counted TO fieldledger_service;

-- Count on by at most so many events; returns how many are left. A new life of the log is counted from its beginning.
CREATE FUNCTION log.count_on(p_park text, at_most bigint) RETURNS bigint
LANGUAGE plpgsql VOLATILE
AS $$
DECLARE
    head log.park_head;
    done log.counted;
    until bigint;
BEGIN
    INSERT INTO log.counted VALUES (p_park, 0, 0) ON CONFLICT DO NOTHING;
    SELECT * INTO STRICT done FROM log.counted WHERE park = p_park FOR UPDATE;
    SELECT * INTO STRICT head FROM log.park_head WHERE park = p_park;
    IF done.epoch <> head.epoch THEN
        UPDATE log.sequence SET held = '{}' WHERE park = p_park;
        done.position := 0;
    END IF;
    until := least(head.position, done.position + at_most);

    INSERT INTO log.sequence AS known (park, device, held)
    SELECT p_park, device, range_agg(int8range(seq, seq, '[]'))
    FROM (
        SELECT device, (split_part(convert_from(leaf, 'UTF8'), E'\n', 6)::json ->> 'device_seq')::bigint AS seq
        FROM log.event
        WHERE park = p_park AND position > done.position AND position <= until
    ) numbered
    WHERE seq IS NOT NULL
    GROUP BY device
    ON CONFLICT (park, device) DO UPDATE SET held = known.held + excluded.held;

    UPDATE log.counted SET epoch = head.epoch, position = until WHERE park = p_park;
    RETURN head.position - until;
END
$$;

REVOKE EXECUTE ON FUNCTION log.count_on FROM PUBLIC;
GRANT EXECUTE ON FUNCTION log.count_on TO fieldledger_service;
