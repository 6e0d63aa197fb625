-- A check of the whole log reads index entries and requests beside the events, position by position. Rows lie on the disk in the order
-- in which they were appended, so a summary of each range of blocks is enough: it costs an append next to nothing.
CREATE INDEX event_tag_position ON log.event_tag USING brin (position) WITH (autosummarize = on);
CREATE INDEX request_position ON log.request USING brin (first_position) WITH (autosummarize = on);
