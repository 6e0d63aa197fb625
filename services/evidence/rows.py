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
_PARKS = "SELECT park FROM log.park_head UNION SELECT park FROM evidence.checkpoint"
_MOMENT = "greatest('0001-01-02 00:00Z', least('9999-12-30 00:00Z', {0}))"
"""What a superuser wrote may lie outside every calendar, or be null: it is read as what can be held against the leaf."""
_HEAD = f"SELECT epoch, coalesce(position, 0), {_MOMENT.format('recorded_at')} FROM log.park_head WHERE park = $1"  # noqa: S608 - constants
_END = f"""
SELECT epoch, position, {_MOMENT.format("recorded_at")} FROM log.event WHERE park = $1 ORDER BY position DESC LIMIT 1
"""  # noqa: S608
_EVENTS = f"""
SELECT park, position, epoch, id, type, greatest('0001-01-02', least('9999-12-30', day)), {_MOMENT.format("occurred_at")},
    {_MOMENT.format("recorded_at")}, device, coalesce(tags, '{{}}'), coalesce(leaf, '')
FROM log.event WHERE park = $1 AND position BETWEEN $2 AND $3 ORDER BY position
"""  # noqa: S608
_TAGS = "SELECT position, tag, type, carries FROM log.event_tag WHERE park = $1 AND position BETWEEN $2 AND $3"
_REQUESTS = """
SELECT id, device, first_position, coalesce(last_position, first_position) FROM log.request
WHERE park = $1 AND first_position BETWEEN $2 AND $3 ORDER BY first_position, last_position
"""
_TILES = """
SELECT tile.* FROM generate_series(0, 6) AS at (level) CROSS JOIN LATERAL (
    SELECT level, index, coalesce(hashes, '') AS hashes FROM evidence.tile
    WHERE park = $1 AND level = at.level
        AND index BETWEEN ($2::bigint - 1) >> 8 * (at.level + 1) AND ($3::bigint - 1) >> 8 * (at.level + 1)
) tile
"""
_CHECKPOINTS = f"""
SELECT epoch, size, root, coalesce(note, ''), {_MOMENT.format("signed_at")} FROM evidence.checkpoint WHERE park = $1
ORDER BY epoch, size
"""  # noqa: S608
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
SELECT 'stored hash', least(2 ^ 62::numeric, stored.ends)::bigint, format('tile %s of level %s', index, level)
FROM evidence.tile
CROSS JOIN LATERAL (SELECT (index * 256::numeric + length(hashes) / 32) * 256 ^ least(level, 9)::numeric AS ends) stored, head
WHERE park = $1 AND stored.ends > head.position
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

    async def end(self) -> HeadRow | None:
        """Where the events end, for want of a head that says it."""
        row = await self._connection.fetchrow(_END, self._park)
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


async def parks(connection: asyncpg.Connection) -> set[str]:
    """The parks of which the database keeps a log or a checkpoint."""
    return {str(row[0]) for row in await connection.fetch(_PARKS)}


def batches(head: int) -> Iterator[tuple[int, int]]:
    """The first and last positions of each batch up to a log's end."""
    for first in range(1, head + 1, AT_A_TIME):
        yield first, min(first + AT_A_TIME - 1, head)
