-- A new life of the log, after the database was brought back from a backup: the epoch is raised and its first event recorded, both or
-- neither, on condition that the log still ends where whoever asks has seen it end. Only the owner may: services cannot change the epoch.
CREATE FUNCTION log.begin_epoch(
    p_park text,
    p_position bigint,
    p_epoch int,
    p_now timestamptz,
    p_id uuid,
    p_device text,
    p_digest bytea,
    p_type text,
    p_day date,
    p_tags text,
    p_body bytea
) RETURNS bigint
LANGUAGE plpgsql VOLATILE
AS $$
DECLARE
    verdict log.verdict;
BEGIN
    UPDATE log.park_head SET epoch = p_epoch
    WHERE park = p_park AND position = p_position AND epoch < p_epoch;
    IF NOT FOUND THEN
        RAISE EXCEPTION 'the log of % does not end at position % before epoch %', p_park, p_position, p_epoch
            USING ERRCODE = 'object_not_in_prerequisite_state';
    END IF;

    SELECT * INTO STRICT verdict FROM log.append(
        p_park, p_now,
        ARRAY[p_id], ARRAY[p_device], ARRAY[p_digest], ARRAY[1],
        ARRAY[1], ARRAY[p_id], ARRAY[p_type], ARRAY[p_day], ARRAY[p_now], ARRAY[p_tags], ARRAY[''], ARRAY[p_body],
        '{}', '{}', '{}', '{}'
    );
    IF verdict.verdict <> 'appended' THEN
        RAISE EXCEPTION 'the log of % has an event with the id %', p_park, p_id USING ERRCODE = 'unique_violation';
    END IF;
    RETURN verdict.first;
END
$$;

REVOKE EXECUTE ON FUNCTION log.begin_epoch FROM PUBLIC;

-- Each epoch but the first, with its first position and what it says of the one before: from where on that was lost.
CREATE VIEW evidence.epoch AS
SELECT e.park, e.epoch, e.position,
    (split_part(convert_from(e.leaf, 'UTF8'), E'\n', 6)::jsonb -> 'data' ->> 'lost_first')::bigint AS lost_first
FROM log.event_tag t JOIN log.event e USING (park, position)
WHERE t.tag = 'evidence' AND t.type = 'evidence.epoch_begun';

-- The checkpoints that stand: those that cover nothing which a later epoch says was lost.
CREATE VIEW evidence.standing AS
SELECT c.* FROM evidence.checkpoint c
WHERE NOT EXISTS (
    SELECT FROM evidence.epoch later
    WHERE later.park = c.park AND later.epoch > c.epoch AND later.lost_first <= c.size
);

GRANT SELECT ON evidence.epoch, evidence.standing TO fieldledger_service;
