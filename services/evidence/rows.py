"""The rows that a check reads, in short statements: what is recorded never changes, so no snapshot is held from one to the next."""

from collections.abc import Iterator

import asyncpg

from services.evidence.check import Astray, Batch, HeadRow
from services.evidence.columns import EventRow, TagRow
from services.evidence.requests import RequestRow
from services.evidence.tiles import WIDTH
from services.evidence.witness import CheckpointRow

AT_A_TIME = 16 * WIDTH
"""Positions in a batch: whole tiles."""
_HEAD = "SELECT epoch, position, recorded_at FROM log.park_head WHERE park = $1"
_EVENTS = """
SELECT park, position, epoch, id, type, day, occurred_at, recorded_at, device, tags, leaf
FROM log.event WHERE park = $1 AND position BETWEEN $2 AND $3 ORDER BY position
"""
_TAGS = "SELECT position, tag, type, carries FROM log.event_tag WHERE park = $1 AND position BETWEEN $2 AND $3"
_REQUESTS = """
SELECT id, device, first_position, last_position FROM log.request
WHERE park = $1 AND first_position BETWEEN $2 AND $3 ORDER BY first_position, last_position
"""
_TILES = """
SELECT tile.* FROM generate_series(0, 6) AS at (level) CROSS JOIN LATERAL (
    SELECT level, index, hashes FROM evidence.tile
    WHERE park = $1 AND level = at.level
        AND index BETWEEN ($2::bigint - 1) >> 8 * (at.level + 1) AND ($3::bigint - 1) >> 8 * (at.level + 1)
) tile
"""
_CHECKPOINTS = "SELECT epoch, size, root, note, signed_at FROM evidence.checkpoint WHERE park = $1 ORDER BY epoch, size"
_ASTRAY = """
WITH head AS (SELECT position FROM log.park_head WHERE park = $1)
SELECT 'event', e.position, e.id::text FROM log.event e, head
WHERE e.park = $1 AND (e.position < 1 OR e.position > head.position)
UNION ALL
SELECT 'index entry', t.position, t.tag FROM log.event_tag t, head
WHERE t.park = $1 AND (t.position < 1 OR t.position > head.position)
UNION ALL
SELECT 'request', r.first_position, r.id::text FROM log.request r, head
WHERE r.park = $1 AND (r.first_position < 1 OR r.first_position > head.position)
UNION ALL
SELECT 'stored hash', index * 256 + length(hashes) / 32, 'tile ' || index FROM evidence.tile, head
WHERE park = $1 AND level = 0 AND index * 256 + length(hashes) / 32 > head.position
UNION ALL
SELECT 'id', max(position), 'its id ' || id || ' is also that of position ' || min(position)
FROM log.event WHERE park = $1 GROUP BY id HAVING count(*) > 1
ORDER BY 2 LIMIT $2
"""
_LONG = 3600.0


class Rows:
    """One park's rows, over one connection."""

    def __init__(self, connection: asyncpg.Connection, park: str) -> None:
        self._connection = connection
        self._park = park

    async def head(self) -> HeadRow | None:
        row = await self._connection.fetchrow(_HEAD, self._park)
        return HeadRow(*row) if row else None

    async def checkpoints(self) -> list[CheckpointRow]:
        return [CheckpointRow(*row) for row in await self._connection.fetch(_CHECKPOINTS, self._park)]

    async def batch(self, first: int, last: int) -> Batch:
        """Everything that is held of these positions."""
        where = (self._park, first, last)
        events = [EventRow(*row) for row in await self._fetch(_EVENTS, *where)]
        tags = [TagRow(*row) for row in await self._fetch(_TAGS, *where)]
        requests = [RequestRow(*row) for row in await self._fetch(_REQUESTS, *where)]
        tiles = {(level, index): hashes for level, index, hashes in await self._fetch(_TILES, *where)}
        return Batch(first, last, events, tags, requests, tiles)

    async def astray(self, limit: int) -> list[Astray]:
        """What lies outside the positions that the log has by now."""
        return [Astray(*row) for row in await self._fetch(_ASTRAY, self._park, limit)]

    async def _fetch(self, statement: str, *parameters: object) -> list[asyncpg.Record]:
        found: list[asyncpg.Record] = await self._connection.fetch(statement, *parameters, timeout=_LONG)
        return found


def batches(head: int) -> Iterator[tuple[int, int]]:
    """The first and last positions of each batch up to a log's end."""
    for first in range(1, head + 1, AT_A_TIME):
        yield first, min(first + AT_A_TIME - 1, head)
