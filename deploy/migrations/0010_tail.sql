-- The next events after a position, in order. Positions are dense, so nothing can appear behind a reader.
CREATE FUNCTION log.tail(p_park text, after bigint, at_most int)
RETURNS TABLE ("position" bigint, leaf bytea)
LANGUAGE plpgsql STABLE
SET plan_cache_mode = force_generic_plan
SET enable_seqscan = off
SET enable_bitmapscan = off
SET jit = off
AS $$
#variable_conflict use_column
BEGIN
    RETURN QUERY
    SELECT e.position, e.leaf FROM log.event e
    WHERE e.park = p_park AND e.position > after
    ORDER BY e.position
    LIMIT at_most;
END
$$;

REVOKE EXECUTE ON FUNCTION log.tail FROM PUBLIC;
GRANT EXECUTE ON FUNCTION log.tail TO fieldledger_service;
