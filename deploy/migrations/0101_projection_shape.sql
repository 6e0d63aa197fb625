-- Of which shape a generation's rows are. Rows of another shape than the software's own are made again from the log when it starts.
ALTER TABLE projection.checkpoint ADD COLUMN shape text NOT NULL DEFAULT '';
