"""HTTP commands answered durable: against the same server's empty routes that parse the same bodies behind the same key."""

import asyncio
import sys
import tempfile
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

import nats
from nats.js.errors import NotFoundError

from deploy.embedded import BusUrls
from services.core.stream import Stream
from tests.bench.figures import Figure
from tests.bench.ground import PARK, Ground, database
from tests.bench.history import Day
from tests.bench.load import CONNECTIONS, MARKERS
from tests.bench.server import EMPTY
from tests.bench.turns import in_turn
from tests.databases import Database

SET_UP_SECONDS = 60.0


class Server:
    """A server in a process of its own, and the load upon it, from another."""

    def __init__(self, port: str, key: str) -> None:
        self._port, self._key = port, key

    @property
    def address(self) -> tuple[str, str]:
        """Its port on this machine, and the key of a device that may do everything."""
        return self._port, self._key

    async def load(self, seconds: float, prefix: str, *kinds: str) -> float:
        """Requests answered 201 in a second; anything else raises."""
        arguments = [self._port, self._key, str(seconds), prefix, *kinds]
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "tests.bench.load", *arguments, stdout=asyncio.subprocess.PIPE
        )
        output, _ = await process.communicate()
        if process.returncode != 0:
            raise RuntimeError("the load was refused; see above")
        return float(output)


@asynccontextmanager
async def server(here: Ground, where: Database) -> AsyncIterator[Server]:
    """The server, with a chronograph and two thousand markers registered."""
    outside = tempfile.mkdtemp(dir=here.outside)  # of this database alone: what another one signed is not its past
    await _forget(here.bus)
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tests.bench.server", where.url, here.bus.relay, here.bus.service, outside,
        stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        port, key = (await process.stdout.readline()).decode().split()
        up = Server(port, key)
        await up.load(SET_UP_SECONDS, "", "chrono")
        await up.load(SET_UP_SECONDS, "", "marker")
        yield up
    finally:
        process.stdin.close()
        await process.wait()


async def _forget(bus: BusUrls) -> None:
    """What another database's events left on the bus."""
    client = await nats.connect(bus.relay)
    with suppress(NotFoundError):
        await client.jetstream().delete_stream(Stream(PARK, 1).name)
    await client.close()


async def measure(here: Ground, _day: Day) -> list[Figure]:
    seconds = here.sizes.seconds * 1.5
    with database(here) as where:
        async with server(here, where) as up:
            await up.load(1.0, "", "person", "test")
            durable, empty = await in_turn(
                here.sizes.turns,
                lambda: up.load(seconds, "", "person", "test"),
                lambda: up.load(seconds, f"{EMPTY}/", "person", "test"),
            )
    return [
        Figure(
            name="http_command",
            what=f"people and tests of {MARKERS:,} markers recorded over HTTP, {CONNECTIONS} connections, relay, projections and board at work",
            against="the same server's empty routes for the same bodies and key",
            unit="req/s",
            value=durable,
            reference=empty,
            goal=0.4,
        )
    ]
