-- The events of some subjects between two positions, in order, for each subject at most `at_most` (null: all of them).
-- Unlike log.read_tags it looks behind the point where a subject's story begins anew. The cost depends on these events, not on the log.
CREATE FUNCTION log.story(p_park text, tags text[], after bigint, until bigint, at_most int)
RETURNS TABLE ("position" bigint, leaf bytea)
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
    SELECT event.position, event.leaf
    FROM (
        SELECT DISTINCT tagged.position
        FROM unnest(tags) AS wanted (tag)
        JOIN LATERAL (
            SELECT t.position FROM log.event_tag t
            WHERE t.park = p_park AND t.tag = wanted.tag AND t.position > after AND t.position <= until
            ORDER BY t.position
            LIMIT at_most
        ) tagged ON true
    ) told
    JOIN log.event ON event.park = p_park AND event.position = told.position
    ORDER BY event.position;
END
$$;

-- Where a subject's story last began anew at or before a position; 0 where it never did.
CREATE FUNCTION log.anew(p_park text, p_tag text, until bigint)
RETURNS bigint
LANGUAGE sql STABLE
AS $$
    SELECT coalesce(max(t.position), 0) FROM log.event_tag t
    WHERE t.park = p_park AND t.tag = p_tag AND t.position <= until AND t.carries
$$;

-- The last position that had been recorded by a moment; 0 where there was none yet. Positions are dense and times do not run back,
-- so it is found by halving.
CREATE FUNCTION log.position_at(p_park text, moment timestamptz)
RETURNS bigint
LANGUAGE plpgsql STABLE
AS $$
DECLARE
    low bigint := 0;
    high bigint := coalesce((SELECT h.position FROM log.park_head h WHERE h.park = p_park), 0);
    middle bigint;
BEGIN
    WHILE low < high LOOP
        middle := (low + high + 1) / 2;
        IF (SELECT e.recorded_at <= moment FROM log.event e WHERE e.park = p_park AND e.position = middle) THEN
            low := middle;
        ELSE
            high := middle - 1;
        END IF;
    END LOOP;
    RETURN low;
END
$$;

REVOKE EXECUTE ON FUNCTION log.story, log.anew, log.position_at FROM PUBLIC;
GRANT EXECUTE ON FUNCTION log.story, log.anew, log.position_at TO fieldledger_service;
