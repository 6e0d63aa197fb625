"""The ground that the measures stand on: real servers in a temporary folder, fresh databases, and how much is measured."""

from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path

from msgspec import Struct

from deploy import embedded
from deploy.embedded import BusUrls
from deploy.state import private_folder
from services.core.clock import SystemClock
from services.core.log import Log
from services.core.pool import Pool
from tests.databases import Database, Databases
from tests.servers import temporary_state

PARK = "larchmoor"


class Sizes(Struct, frozen=True, kw_only=True):
    """How much is measured."""

    turns: int = 5
    seconds: float = 2.0
    """Of each load."""
    replayed: int = 100_000
    samples: int = 1_500
    """Of each latency."""
    screen_samples: int = 300
    small: int = 100_000
    large: int = 3_000_000
    """Events in the two logs whose cost is compared."""


QUICK = Sizes(turns=2, seconds=0.5, replayed=8_000, samples=150, screen_samples=15, small=8_000, large=40_000)
"""To see that everything works; its figures say little."""


class Ground(Struct, frozen=True):
    server_url: str
    databases: Databases
    bus: BusUrls
    sizes: Sizes
    outside: Path


@contextmanager
def ground(sizes: Sizes) -> Iterator[Ground]:
    """The embedded servers, under the settings that a park runs with."""
    with temporary_state() as state, embedded.postgres(state) as url, embedded.nats(state) as bus:
        yield Ground(url, Databases(url), bus, sizes, private_folder(state / "outside"))


@contextmanager
def database(here: Ground) -> Iterator[Database]:
    """A fresh migrated database for the block."""
    fresh = here.databases.create()
    yield fresh
    here.databases.drop(fresh)


@asynccontextmanager
async def open_log(where: Database, park: str = PARK) -> AsyncIterator[tuple[Log, Pool]]:
    """A park's log, open for writing, and its pool."""
    pool = Pool(where.url)
    try:
        async with Log(pool, park, SystemClock()) as log:
            await log.open_park()
            yield log, pool
    finally:
        await pool.close()
