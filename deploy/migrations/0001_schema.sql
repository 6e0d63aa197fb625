-- The log: the only source of truth. Everything else can be made again from it.
CREATE SCHEMA log;
GRANT USAGE ON SCHEMA log TO fieldledger_service;
