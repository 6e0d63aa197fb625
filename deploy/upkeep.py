"""Upkeep of the read tables while the park runs: hold them against the log, or make them again from it."""

import sys
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

from deploy.migrate import service_url
from deploy.postgres import owner_url
from deploy.services import PROJECTIONS
from deploy.state import DEFAULT
from services.core.clock import SystemClock
from services.core.log import Log
from services.core.pool import Pool
from services.core.rebuild import check, rebuild
from services.core.settings import Settings

_PARKS = "SELECT park FROM log.park_head ORDER BY park"


def database_of(settings: Settings) -> str:
    """The service role's URL of the database that `run` uses, or used last."""
    state = Path(settings.state).absolute() if settings.state else DEFAULT
    secret = state / "service.secret"
    if not secret.exists():
        sys.exit(f"fieldledger: there is no park in {state} yet. Start one with deploy/run.")
    return service_url(admin_url(settings), secret.read_text())


def admin_url(settings: Settings) -> str:
    """The owner's URL of that database."""
    state = Path(settings.state).absolute() if settings.state else DEFAULT
    return settings.database_url or owner_url(state)


@asynccontextmanager
async def logs_of(database_url: str) -> AsyncIterator[tuple[Pool, list[Log]]]:
    """The logs of every park in a database, to be read."""
    pool = Pool(database_url)
    try:
        async with pool.connection() as connection:
            parks = [str(row[0]) for row in await connection.fetch(_PARKS)]
        yield pool, [Log(pool, park, SystemClock()) for park in parks]
    finally:
        await pool.close()


async def check_all(database_url: str, tell: Callable[[str], None]) -> bool:
    """Whether every projection of every park says what its log says; of each is told after which event the two part."""
    same = True
    async with logs_of(database_url) as (pool, logs):
        for log in logs:
            for projection in PROJECTIONS:
                difference = await check(projection, log, pool)
                same = same and difference is None
                tell(f"{log.park} {projection.name}: {difference.sentence if difference else 'as the log says'}")
    return same


async def rebuild_all(database_url: str, tell: Callable[[str], None]) -> None:
    """Make every projection again from the log, beside the live one, and switch."""
    async with logs_of(database_url) as (pool, logs):
        for log in logs:
            for projection in PROJECTIONS:
                await rebuild(projection, log, pool)
                tell(f"{log.park} {projection.name}: made again from the log")
