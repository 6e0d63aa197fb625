-- The only way into the log: many appends under one lock and one commit, each with a verdict of its own.
CREATE TYPE log.verdict AS (
    append int,               -- counted from 1
    verdict text,             -- appended, repeat, reused or conflict
    tag text,                 -- the tag in conflict
    first bigint,
    last bigint,
    epoch int,
    recorded_at timestamptz
);

-- Tags of an event are joined by line feeds, types of a condition by spaces; no types means any.
-- Within one call no append may condition on a tag that an earlier one writes, nor repeat its request.
CREATE FUNCTION log.append(
    p_park text,
    p_now timestamptz,
    -- one an append
    requests uuid[],
    devices text[],
    digests bytea[],
    counts int[],
    -- one an event, in the order of the appends
    appends int[],
    ids uuid[],
    types text[],
    days date[],
    moments timestamptz[],
    tags text[],
    carried text[],
    bodies bytea[],
    -- one a condition: conflict if a newer event than `after` has this tag and one of these types
    condition_appends int[],
    condition_tags text[],
    condition_afters bigint[],
    condition_types text[]
) RETURNS SETOF log.verdict
LANGUAGE plpgsql VOLATILE
SET plan_cache_mode = force_generic_plan
SET enable_seqscan = off
SET enable_bitmapscan = off
SET enable_hashjoin = off
SET enable_mergejoin = off
SET jit = off
AS $$
DECLARE
    head log.park_head;
    verdicts log.verdict[];
    settled int[];
    accepted int;
    opening text;
    closing text;
BEGIN
    -- Each statement below must see everything that was committed before the lock was granted.
    IF current_setting('transaction_isolation') <> 'read committed' THEN
        RAISE EXCEPTION 'log.append needs READ COMMITTED' USING ERRCODE = 'invalid_transaction_state';
    END IF;

    SELECT * INTO head FROM log.park_head WHERE park = p_park FOR UPDATE;
    IF NOT FOUND THEN
        RAISE EXCEPTION 'park % is not open', p_park USING ERRCODE = 'no_data_found';
    END IF;
    head.recorded_at := greatest(p_now, head.recorded_at);

    verdicts := ARRAY(
        SELECT ROW(
            asked.append,
            CASE WHEN known.device = asked.device AND known.digest = asked.digest THEN 'repeat' ELSE 'reused' END,
            NULL, known.first_position, known.last_position, known.epoch, known.recorded_at
        )::log.verdict
        FROM unnest(requests, devices, digests) WITH ORDINALITY AS asked (id, device, digest, append)
        CROSS JOIN LATERAL (
            SELECT r.device, r.digest, r.first_position, r.last_position, e.epoch, e.recorded_at
            FROM log.request r JOIN log.event e ON e.park = r.park AND e.position = r.first_position
            WHERE r.park = p_park AND r.id = asked.id
            LIMIT 1
        ) known
    );
    settled := ARRAY(SELECT v.append FROM unnest(verdicts) v);

    verdicts := verdicts || ARRAY(
        SELECT ROW(c.append, 'conflict', min(c.tag), NULL, NULL, NULL, NULL)::log.verdict
        FROM unnest(condition_appends, condition_tags, condition_afters, condition_types)
            AS c (append, tag, after, types)
        CROSS JOIN LATERAL (
            SELECT FROM log.event_tag t
            WHERE t.park = p_park AND t.tag = c.tag AND t.position > c.after
                AND (c.types = '' OR t.type = ANY (string_to_array(c.types, ' ')))
            LIMIT 1
        ) newer
        WHERE c.append <> ALL (settled)
        GROUP BY c.append
    );
    settled := ARRAY(SELECT v.append FROM unnest(verdicts) v);

    accepted := (SELECT count(*) FROM unnest(appends) AS append WHERE append <> ALL (settled));
    IF accepted > 0 THEN
        opening := format(E'fieldledger leaf 1\n%s\n%s\n', p_park, head.epoch);
        closing := format(E'\n%s\n', (extract(epoch FROM head.recorded_at) * 1000000)::bigint);

        INSERT INTO log.event
        SELECT p_park, e.position, head.epoch, e.id, e.type, e.day, e.occurred_at, head.recorded_at, devices[e.append],
            string_to_array(e.tags, E'\n'), convert_to(opening || e.position || closing, 'UTF8') || e.body
        FROM (
            SELECT *, head.position + row_number() OVER (ORDER BY number) AS position
            FROM unnest(appends, ids, types, days, moments, tags, bodies) WITH ORDINALITY
                AS e (append, id, type, day, occurred_at, tags, body, number)
            WHERE append <> ALL (settled)
        ) e;

        INSERT INTO log.event_tag
        SELECT p_park, tag, e.position, e.type, tag = ANY (string_to_array(e.carried, E'\n'))
        FROM (
            SELECT *, head.position + row_number() OVER (ORDER BY number) AS position
            FROM unnest(appends, types, tags, carried) WITH ORDINALITY AS e (append, type, tags, carried, number)
            WHERE append <> ALL (settled)
        ) e
        CROSS JOIN string_to_table(e.tags, E'\n') AS tag;

        verdicts := verdicts || ARRAY(
            SELECT ROW(
                a.append, 'appended', NULL, a.last - a.count + 1, a.last, head.epoch, head.recorded_at
            )::log.verdict
            FROM (
                SELECT append, count, head.position + sum(count) OVER (ORDER BY append) AS last
                FROM unnest(counts) WITH ORDINALITY AS a (count, append)
                WHERE append <> ALL (settled)
            ) a
        );

        INSERT INTO log.request
        SELECT p_park, requests[v.append], devices[v.append], digests[v.append], v.first, v.last
        FROM unnest(verdicts) v
        WHERE v.verdict = 'appended';

        UPDATE log.park_head
        SET position = head.position + accepted, recorded_at = head.recorded_at
        WHERE park = p_park;

        PERFORM pg_notify('fieldledger', p_park || ' ' || head.position + accepted);
    END IF;

    RETURN QUERY SELECT * FROM unnest(verdicts);
END
$$;

REVOKE EXECUTE ON FUNCTION log.append FROM PUBLIC;
GRANT EXECUTE ON FUNCTION log.append TO fieldledger_service;
