"""A case as a report for people: what it says stands in `content`, how it looks in `pdf` and `page`."""
