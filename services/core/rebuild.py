"""Rebuilding a projection from the log beside the live one, and checking the live one against the log."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import asyncpg

from services.core import generations
from services.core.generations import Difference
from services.core.log import Log
from services.core.pool import Pool
from services.core.projection import Projection
from services.core.track import Track

_ALONE = "SELECT pg_try_advisory_lock(hashtextextended('fieldledger rebuild ' || $1 || ' ' || $2, 0))"
_DONE = "SELECT pg_advisory_unlock(hashtextextended('fieldledger rebuild ' || $1 || ' ' || $2, 0))"


class RebuildUnderWay(Exception):  # noqa: N818 - a state of the world, not a mistake
    """Another process is rebuilding or checking this projection."""


async def rebuild(projection: Projection[Any], log: Log, pool: Pool) -> None:
    """Make the projection again from the log alone; readers see the old rows until the new ones have caught up.

    Safe under load and safe to break off: what is left of it is dropped by the next one. Raises RebuildUnderWay.
    """
    async with _beside(projection, log, pool) as (connection, track, generation):
        await track.replay(log)
        async with connection.transaction():
            live = await generations.lock_live(connection, projection.name, log.park)
            await track.replay(log, until=live.position)
            await generations.switch(connection, live.generation, generation)


async def check(projection: Projection[Any], log: Log, pool: Pool) -> Difference | None:
    """Bring the live rows to the log's end, replay the log beside them and name the first row that differs.

    Readers are not held up; the projector waits while the rows are compared. Raises RebuildUnderWay.
    """
    live_track = Track(projection, log.park, pool)
    await live_track.open()
    await live_track.replay(log)
    async with _beside(projection, log, pool) as (connection, track, generation):
        await track.replay(log, until=live_track.position)
        async with connection.transaction():
            live = await generations.lock_live(connection, projection.name, log.park)
            await track.replay(log, until=live.position)
            return await generations.difference(connection, live.generation, generation)


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
            generation = await generations.begin(connection, name, park)
            yield connection, Track(projection, park, pool, generation), generation
        finally:
            await generations.drop_spares(connection, name, park)
            await connection.execute(_DONE, name, park)
