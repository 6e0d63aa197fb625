-- Which subjects an event concerns. The fold of a tag begins anew at the latest event that carries it.
-- The tag leads the key, since it tells two entries apart at the first comparison.
CREATE TABLE log.event_tag (
    park text COLLATE "C" NOT NULL,
    tag text COLLATE "C" NOT NULL,
    position bigint NOT NULL,
    type text COLLATE "C" NOT NULL,
    carries boolean NOT NULL,
    PRIMARY KEY (tag, park, position) INCLUDE (type)
);

CREATE INDEX event_tag_carried ON log.event_tag (park, tag, position) WHERE carries;

GRANT SELECT, INSERT ON log.event_tag TO fieldledger_service;
