"""A device's own dense numbers: which are recorded, which it was told are refused, and where one is missing."""

from collections.abc import Iterable

from msgspec import Struct

from services.core.pool import Pool

Ranges = tuple[tuple[int, int], ...]
"""In order, each with both ends, none touching the next."""
_STEP = 20_000
_COUNT_ON = "SELECT log.count_on($1, $2)"
_READ = """
SELECT c.epoch, c.position, coalesce(s.held, '{}'), coalesce(s.refused, '{}'), coalesce(s.held + s.refused, '{}'),
    (SELECT count(*) FROM log.set_aside a WHERE a.park = c.park AND a.device = $2 AND a.judged_at IS NULL),
    s.device IS NOT NULL OR EXISTS (SELECT FROM log.device d WHERE d.park = c.park AND d.id = $2)
FROM log.counted c LEFT JOIN log.sequence s ON s.park = c.park AND s.device = $2
WHERE c.park = $1
"""
_SIGNED = """
SELECT h.epoch, coalesce(max(c.size), 0) FROM log.park_head h
LEFT JOIN evidence.standing c ON c.park = h.park AND c.epoch = h.epoch
WHERE h.park = $1 GROUP BY h.epoch
"""


class Count(Struct, frozen=True):
    """What is known of a device's numbers as of a position."""

    epoch: int
    position: int
    held: Ranges
    refused: Ranges
    holes: Ranges
    set_aside: int
    known: bool
    """Whether anything is known of the device at all."""


def holes(accounted: Ranges) -> Ranges:
    """The numbers from 1 on that are missing below the greatest: `accounted` are recorded or refused."""
    found, after = [], 0
    for first, last in accounted:
        if first > after + 1:
            found.append((after + 1, first - 1))
        after = last
    return tuple(found)


async def count(pool: Pool, park: str, device: str) -> Count:
    """Counts on to the log's end first."""
    async with pool.connection() as connection:
        while await connection.fetchval(_COUNT_ON, park, _STEP) > 0:
            pass
        epoch, position, held, refused, accounted, aside, known = await connection.fetchrow(_READ, park, device)
    return Count(epoch, position, _ends(held), _ends(refused), holes(_ends(accounted)), aside, known)


async def signed(pool: Pool, park: str) -> tuple[int, int]:
    """The log's epoch, and how far that lies under a checkpoint that stands and was outside first; 0: not at all yet."""
    async with pool.connection() as connection:
        epoch, size = await connection.fetchrow(_SIGNED, park)
    return epoch, size


def _ends(ranges: Iterable[object]) -> Ranges:
    return tuple((one.lower, one.upper - 1) for one in ranges)  # type: ignore[attr-defined] # asyncpg names no type for it
