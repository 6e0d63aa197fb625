"""Where a case's events are read from: by tag, the newest up to a position, whatever the length of the log."""

from collections.abc import Sequence
from typing import Any, Protocol

from services.core.log import Row
from services.core.pool import Pool

EVERYTHING = 2**62
NEWEST = """
SELECT e.position, e.leaf
FROM (SELECT t.position FROM log.event_tag t WHERE t.park = $1 AND t.tag = $2 AND t.position <= $3
      ORDER BY t.position DESC LIMIT $4) newest
JOIN log.event e ON e.park = $1 AND e.position = newest.position
ORDER BY e.position
"""
NEXT = """
SELECT e.position, e.leaf
FROM (SELECT t.position FROM log.event_tag t WHERE t.park = $1 AND t.tag = $2 AND t.position > $3
      ORDER BY t.position LIMIT $4) next
JOIN log.event e ON e.park = $1 AND e.position = next.position
ORDER BY e.position
"""

AT = "SELECT position, leaf FROM log.event WHERE park = $1 AND position = ANY ($2) ORDER BY position"


class Shelf(Protocol):
    """One park's events by tag, in the order of their positions."""

    async def newest(self, tag: str, upto: int = EVERYTHING, limit: int = 10_000) -> list[Row]:
        """The last events of a tag that stand at or before a position."""

    async def next(self, tag: str, after: int, limit: int) -> list[Row]:
        """The first events of a tag behind a position."""

    async def at(self, positions: Sequence[int]) -> list[Row]:
        """The events at these positions."""


class LogShelf:
    """The log itself."""

    def __init__(self, pool: Pool, park: str) -> None:
        self._pool = pool
        self._park = park

    async def newest(self, tag: str, upto: int = EVERYTHING, limit: int = 10_000) -> list[Row]:
        return await self._read(NEWEST, tag, upto, limit)

    async def next(self, tag: str, after: int, limit: int) -> list[Row]:
        return await self._read(NEXT, tag, after, limit)

    async def at(self, positions: Sequence[int]) -> list[Row]:
        return await self._read(AT, positions) if positions else []

    async def _read(self, query: str, *arguments: Any) -> list[Row]:
        async with self._pool.connection() as connection:
            return [Row(*row) for row in await connection.fetch(query, self._park, *arguments)]
