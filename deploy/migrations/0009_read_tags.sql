-- What is needed to fold some tags, and the head it is true at, in one snapshot: the head's epoch and position on
-- every row, and for each tag its events newer than `after`, from the latest one that carries the tag onwards.
-- A park without any such event answers one row with no tag. The cost depends on these events, not on the log.
CREATE FUNCTION log.read_tags(p_park text, tags text[], afters bigint[])
RETURNS TABLE (head_epoch int, head_position bigint, tag text, "position" bigint, leaf bytea)
LANGUAGE plpgsql STABLE
SET plan_cache_mode = force_generic_plan
SET enable_seqscan = off
SET enable_bitmapscan = off
SET enable_hashjoin = off
SET enable_mergejoin = off
SET jit = off
AS $$
#variable_conflict use_column
BEGIN
    RETURN QUERY
    SELECT head.epoch, head.position, found.tag, found.position, found.leaf
    FROM log.park_head head
    LEFT JOIN LATERAL (
        SELECT wanted.tag, event.position, event.leaf
        FROM unnest(tags, afters) AS wanted (tag, after)
        LEFT JOIN LATERAL (
            SELECT t.position FROM log.event_tag t
            WHERE t.park = p_park AND t.tag = wanted.tag AND t.position > wanted.after AND t.carries
            ORDER BY t.position DESC
            LIMIT 1
        ) carrier ON true
        JOIN LATERAL (
            SELECT t.position FROM log.event_tag t
            WHERE t.park = p_park AND t.tag = wanted.tag AND t.position > wanted.after
                AND t.position >= coalesce(carrier.position, 0)
            ORDER BY t.position
        ) tagged ON true
        JOIN log.event ON event.park = p_park AND event.position = tagged.position
    ) found ON true
    WHERE head.park = p_park;
END
$$;

REVOKE EXECUTE ON FUNCTION log.read_tags FROM PUBLIC;
GRANT EXECUTE ON FUNCTION log.read_tags TO fieldledger_service;
