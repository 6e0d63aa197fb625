"""The composition root: the one place where services, log, bus and projections are joined into a running process."""

import asyncio
import socket
from collections.abc import AsyncIterator, Iterable, Iterator, Sequence
from contextlib import AsyncExitStack, asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import anyio
import asyncpg
import uvicorn
from anyio.abc import TaskGroup
from litestar import Litestar
from msgspec import Struct

from deploy.embedded import BusUrls
from services.core.auth import Devices
from services.core.batch import batch
from services.core.bus import Bus
from services.core.clock import Clock
from services.core.documents import DOCUMENT_ROUTES
from services.core.health import health, metrics, ready
from services.core.http import application
from services.core.log import Log
from services.core.pages import SHARED_PAGES
from services.core.park import Park
from services.core.pool import Pool
from services.core.projection import Projection
from services.core.projector import Projector
from services.core.relay import Relay
from services.core.service import Service
from services.core.settings import STREAMS_PER_KEY
from services.evidence.announcer import Announcer
from services.evidence.lookout import Lookout
from services.evidence.outside import Outside
from services.evidence.rounds import Rounds
from services.evidence.signer import EVERY, Signer

GRACE = 3
"""Seconds that requests under way are given at the end."""


class Running(Struct):
    """A process at work: what a test or the demo may take hold of."""

    app: Litestar
    pool: Pool
    devices: Devices
    parks: dict[str, Park]
    projectors: dict[str, Projector]
    signers: dict[str, Signer]


@asynccontextmanager
async def running(  # noqa: PLR0913, PLR0917 - the wiring names what it wires
    database_url: str,
    bus: BusUrls | None,
    parks: Iterable[str],
    services: Sequence[Service],
    projections: Sequence[Projection[Any]],
    clock: Clock,
    outside: Path,
    reader: str = "one",
    checkpoint_every: float = EVERY,
    streams_per_key: int = STREAMS_PER_KEY,
) -> AsyncIterator[Running]:
    """Everything but the listening socket: logs open, relays and projectors at work for the block.

    `outside` is the folder for what must not lie in the database: signing keys, checkpoints, the vault's key, the erasures.
    """
    async with AsyncExitStack() as stack:
        pool = Pool(database_url)
        stack.push_async_callback(pool.close)
        relay_bus, service_bus = (Bus(bus.relay), Bus(bus.service)) if bus else (None, None)
        for one in (relay_bus, service_bus):
            if one is not None:
                stack.push_async_callback(one.close)
        names = list(parks)
        logs = [await stack.enter_async_context(Log(pool, name, clock)) for name in names]
        tasks = await stack.enter_async_context(_supervised())
        projectors: dict[str, Projector] = {}
        relays: dict[str, Relay] = {}
        for log in logs:
            await log.open_park()
            lookout = Lookout(log, Outside(outside, log.park), relay_bus)
            await lookout.look()
            tasks.start_soon(lookout.run)
            projectors[log.park] = Projector(log, pool, projections, service_bus, reader)
            tasks.start_soon(projectors[log.park].run)
            if relay_bus is not None:
                relays[log.park] = Relay(log, relay_bus, lambda: asyncpg.connect(plain(database_url)))
                tasks.start_soon(relays[log.park].run)
        devices = Devices(pool, clock)
        tasks.start_soon(devices.contacts.run)
        made = {log.park: Park(log.park, log, clock) for log in logs}
        signers = {name: _signer(park, pool, outside, checkpoint_every) for name, park in made.items()}
        for name, signer in signers.items():
            tasks.start_soon(signer.run)
            if relay_bus is not None:
                tasks.start_soon(Announcer(name, pool, relay_bus, signer).run)
        machinery = Service("core", (), (health, ready, metrics, batch, *SHARED_PAGES, *DOCUMENT_ROUTES))
        state = {"projectors": projectors, "relays": relays, "signers": signers}
        state |= {"pool": pool, "clock": clock, "outside": outside, "streams_per_key": streams_per_key}
        app = application([*services, machinery], made, devices, state)
        yield Running(app, pool, devices, made, projectors, signers)


def _signer(park: Park, pool: Pool, outside: Path, every: float) -> Signer:
    rounds = Rounds(park, Outside(outside, park.park), lambda: asyncpg.connect(plain(pool.url), command_timeout=30))
    return Signer(park, pool, rounds, every)


@asynccontextmanager
async def _supervised() -> AsyncIterator[TaskGroup]:
    """Background work: the failure of one stops the process, the end of the block stops them all."""
    async with anyio.create_task_group() as tasks:
        yield tasks
        tasks.cancel_scope.cancel()


def plain(url: str) -> str:
    """The URL as asyncpg itself takes it."""
    return urlunsplit(urlsplit(url)._replace(scheme="postgresql"))


def listening_socket(host: str, port: int) -> socket.socket:
    """A socket that listens at the address, so that nobody else can from now on; raises PortTaken."""
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)  # so that asyncio sends at once
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((host, port))
        made.listen()
    except OSError as error:
        made.close()
        raise PortTaken(f"Port {port} on {host} cannot be used ({error.strerror}). Set PORT to a free one.") from error
    return made


class PortTaken(Exception):  # noqa: N818 - the port is what is wrong
    """Somebody else listens there."""


class _Server(uvicorn.Server):
    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Signals belong to whoever started us."""
        yield


@asynccontextmanager
async def listening(app: Litestar, made: socket.socket) -> AsyncIterator[uvicorn.Server]:
    """The application behind a socket for the block, in this very loop."""
    server = _Server(
        uvicorn.Config(app, log_level="warning", access_log=False, timeout_graceful_shutdown=GRACE, lifespan="on")
    )
    task = asyncio.ensure_future(server.serve(sockets=[made]))
    try:
        while not server.started and not task.done():  # noqa: ASYNC110 - the server offers no event to wait on
            await asyncio.sleep(0.01)
        yield server
    finally:
        server.should_exit = True
        for leave in app.state.leaving:  # whoever waits for something new is answered, and asks the next process
            leave()
        await task
