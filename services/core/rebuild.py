"""Rebuilding a projection from the log beside the live one, and checking the live one against the log."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from typing import Any

import asyncpg
import msgspec
from msgspec import Struct

from contracts.leaf import decode
from services.core import generations
from services.core.generations import Differences
from services.core.log import Log
from services.core.parting import Parting, Partings, Place
from services.core.pool import Pool
from services.core.projection import Projection
from services.core.track import BATCH, Track

_ALONE = "SELECT pg_try_advisory_lock(hashtextextended('fieldledger rebuild ' || $1 || ' ' || $2, 0))"
_DONE = "SELECT pg_advisory_unlock(hashtextextended('fieldledger rebuild ' || $1 || ' ' || $2, 0))"


_COMPARED = 1000
"""Rows, at most, that are followed through the log to find where they part from it."""


class RebuildUnderWay(Exception):  # noqa: N818 - a state of the world, not a mistake
    """Another process is rebuilding or checking this projection."""


async def rebuild(projection: Projection[Any], log: Log, pool: Pool) -> None:
    """Make the projection again from the log alone; readers see the old rows until the new ones have caught up.

    Safe under load and safe to break off: what is left of it is dropped by the next one. Raises RebuildUnderWay.
    """
    async with _beside(projection, log, pool) as (connection, track, generation):
        await track.replay(log)
        async with connection.transaction():
            live = await generations.lock_live(connection, projection.name, log.park, projection.shape)
            await track.replay(log, until=live.position)
            await generations.switch(connection, live.generation, generation)


class Ahead(Struct, frozen=True):
    """The projection says that it has taken in events that the log does not hold; `last` is the log's last event."""

    position: int
    last: Place | None

    @property
    def sentence(self) -> str:
        end = f"ends at {self.last}" if self.last else "is empty"
        return f"it says that it has taken in the events up to position {self.position}, but the log {end}"


class Differs(Struct, frozen=True):
    """So many rows are not what the log says; `first` is the one that parted from it first."""

    rows: int
    first: Parting

    @property
    def sentence(self) -> str:
        more = f" ({self.rows} rows differ in all)" if self.rows > 1 else ""
        return f"{self.first.sentence}{more}"


async def check(projection: Projection[Any], log: Log, pool: Pool) -> Differs | Ahead | None:
    """Bring the live rows to the log's end, replay the log beside them, and name the first event after which the two part.

    Readers are not held up; the projector waits while the rows are compared. Only when rows differ is the log read again, to find
    the event. Raises RebuildUnderWay.
    """
    live_track = Track(projection, log.park, pool)
    await live_track.open()
    with suppress(msgspec.MsgspecError):  # a row that cannot be read holds its projection up: the comparison names it
        await live_track.replay(log)
    async with _beside(projection, log, pool) as (connection, track, generation):
        await track.replay(log, until=live_track.position)
        async with connection.transaction():
            live = await generations.lock_live(connection, projection.name, log.park, projection.shape)
            await track.replay(log, until=live.position)
            found = await generations.differences(connection, live.generation, generation, _COMPARED)
    head = (await log.head()).position
    if live.position > head:
        last = [decode(row.leaf) for row in await log.between(head, head)]
        return Ahead(live.position, Place(head, last[0].type) if last else None)
    return None if found is None else Differs(found.rows, await _parting(projection, log, found, live.position))


async def _parting(projection: Projection[Any], log: Log, found: Differences, until: int) -> Parting:
    partings = Partings(projection, found.live)
    for after in range(0, until, BATCH):
        rows = await log.tail(after, min(BATCH, until - after))
        partings.take(decode(row.leaf) for row in rows)
    return partings.first


@asynccontextmanager
async def _beside(
    projection: Projection[Any], log: Log, pool: Pool
) -> AsyncIterator[tuple[asyncpg.Connection, Track[Any], int]]:
    name, park = projection.name, log.park
    async with pool.connection() as connection:
        if not await connection.fetchval(_ALONE, name, park):
            raise RebuildUnderWay(f"{name} of {park} is being rebuilt or checked already")
        try:
            await generations.drop_spares(connection, name, park)
            generation = await generations.begin(connection, name, park, projection.shape)
            yield connection, Track(projection, park, pool, generation), generation
        finally:
            await generations.drop_spares(connection, name, park)
            await connection.execute(_DONE, name, park)
