-- The past of some tags: for each its events up to a position of its own, from the latest one that carries the tag onwards.
-- Where `happened` is given, only what had happened by then: what was told later counts, what happened later does not. Events of the
-- types in `reaching` are read whenever they happened, since they may take effect earlier than that; whoever folds them decides.
-- The cost depends on these events, not on the log.
CREATE FUNCTION log.read_tags_at(p_park text, tags text[], untils bigint[], happened timestamptz, reaching text[])
RETURNS TABLE (tag text, "position" bigint, leaf bytea)
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
    SELECT wanted.tag, event.position, event.leaf
    FROM unnest(tags, untils) AS wanted (tag, until)
    LEFT JOIN LATERAL (
        SELECT t.position
        FROM log.event_tag t
        JOIN log.event e ON e.park = p_park AND e.position = t.position
        WHERE t.park = p_park AND t.tag = wanted.tag AND t.position <= wanted.until AND t.carries
            AND (happened IS NULL OR e.occurred_at <= happened)
        ORDER BY t.position DESC
        LIMIT 1
    ) carrier ON true
    JOIN LATERAL (
        SELECT t.position, t.type FROM log.event_tag t
        WHERE t.park = p_park AND t.tag = wanted.tag AND t.position <= wanted.until
            AND t.position >= coalesce(carrier.position, 0)
        ORDER BY t.position
    ) tagged ON true
    JOIN log.event ON event.park = p_park AND event.position = tagged.position
        AND (happened IS NULL OR event.occurred_at <= happened OR tagged.type = ANY (reaching));
END
$$;

REVOKE EXECUTE ON FUNCTION log.read_tags_at FROM PUBLIC;
GRANT EXECUTE ON FUNCTION log.read_tags_at TO fieldledger_service;
