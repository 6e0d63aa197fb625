-- History is never changed, by no role: the service has no right to, and whoever has the right is stopped here.
-- ALWAYS, so that a session cannot switch it off by calling itself a replica.
CREATE FUNCTION log.refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '%.% is history: it refuses %', tg_table_schema, tg_table_name, tg_op
        USING ERRCODE = 'insufficient_privilege';
END
$$;

CREATE TRIGGER history BEFORE UPDATE OR DELETE OR TRUNCATE ON log.event EXECUTE FUNCTION log.refuse_change();
CREATE TRIGGER history BEFORE UPDATE OR DELETE OR TRUNCATE ON log.event_tag EXECUTE FUNCTION log.refuse_change();
CREATE TRIGGER history BEFORE UPDATE OR DELETE OR TRUNCATE ON log.request EXECUTE FUNCTION log.refuse_change();

ALTER TABLE log.event ENABLE ALWAYS TRIGGER history;
ALTER TABLE log.event_tag ENABLE ALWAYS TRIGGER history;
ALTER TABLE log.request ENABLE ALWAYS TRIGGER history;
