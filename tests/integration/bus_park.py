"""A park with a log, a bus and a toy projection, for the tests of relay and projector."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from uuid import uuid4

import asyncpg
import msgspec
import nats

from contracts.envelope import Event
from contracts.leaf import encode
from services.core.bus import Bus
from services.core.clock import SystemClock
from services.core.log import Append, Draft, Log, Request, Row
from services.core.pool import Pool
from services.core.relay import Relay
from services.core.stream import Stream

_numbers = count(1)


@dataclass
class Park:
    """One open park; `relay` and `service` are the bus's two accounts."""

    log: Log
    pool: Pool
    relay_bus: Bus
    service_bus: Bus
    urls: object
    database: object

    @property
    def name(self):
        return self.log.park

    @property
    def stream(self):
        return Stream(self.name, 1)

    def relay(self):
        return Relay(self.log, self.relay_bus, lambda: asyncpg.connect(self.database.url))

    async def record(self, events, tags=("player:1",)):
        """Append one request of so many events."""
        at = datetime.now(UTC)
        request = Request(uuid4(), "kiosk-1", b"d" * 32)
        await self.log.append(Append(request, tuple(_draft(at, tags) for _ in range(events))))

    async def leaves(self):
        """The whole log."""
        return await self.log.tail(0, 1_000_000)

    async def streamed(self, epoch=1):
        """The whole stream, read by a client that is none of ours."""
        client = await nats.connect(self.urls.service)
        try:
            jetstream = client.jetstream()
            name = Stream(self.name, epoch).name
            last = (await jetstream.stream_info(name)).state.last_seq
            messages = [await jetstream.get_msg(name, seq=sequence) for sequence in range(1, last + 1)]
            return [Row(message.seq, message.data) for message in messages]
        finally:
            await client.close()

    async def relayed(self, epoch=1, seconds=30):
        """Wait until the stream ends where the log does."""

        async def level():
            end = await self.relay_bus.end(Stream(self.name, epoch))
            return end is not None and end.position == (await self.log.head()).position

        await eventually(level, seconds)


def _draft(at, tags):
    event = Event(
        type="toy.counted",
        version=1,
        id=uuid4(),
        day=at.date(),
        occurred_at=at,
        claimed_at=None,
        clock="server",
        device="kiosk-1",
        device_seq=None,
        actor=None,
        tags=tuple(tags),
        data=msgspec.Raw(b"{}"),
    )
    return Draft(event.id, event.type, event.day, at, event.tags, (), encode(event))


@asynccontextmanager
async def opened(database, urls, name=None) -> AsyncIterator[Park]:
    pool = Pool(database.url)
    buses = Bus(urls.relay), Bus(urls.service)
    try:
        async with Log(pool, name or f"toy-{next(_numbers)}", SystemClock()) as log:
            await log.open_park()
            yield Park(log, pool, *buses, urls, database)
    finally:
        for bus in buses:
            await bus.close()
        await pool.close()


@asynccontextmanager
async def running(*jobs: Awaitable[None]) -> AsyncIterator[list[asyncio.Task]]:
    """Run these beside the block; a job that fails fails the block at its end."""
    tasks = [asyncio.ensure_future(job) for job in jobs]
    try:
        yield tasks
    finally:
        for task in tasks:
            if task.done() and not task.cancelled():
                task.result()
            while not task.done():  # a task group asks again too: the client's wait_for may swallow a cancellation
                task.cancel()
                await asyncio.wait([task], timeout=1)


async def eventually(holds: Callable[[], Awaitable[bool]], seconds: float = 30) -> None:
    """Wait until it holds; TimeoutError when it does not in time. The bus may be away meanwhile."""
    async with asyncio.timeout(seconds):
        while True:
            with suppress(Exception):
                if await holds():
                    return
            await asyncio.sleep(0.05)


class Counts:
    """A toy projection: for each tag how many events, and the sum of their positions, so that none can count twice."""

    name = "counts"
    shape = "pairs"

    def tags(self, event):
        return event.tags

    def apply(self, events, states):
        changed = set()
        for event in events:
            for tag in event.tags:
                number, total = states.get(tag, (0, 0))
                states[tag] = (number + 1, total + event.position)
                changed.add(tag)
        return changed

    def encode(self, _tag, state):
        return msgspec.json.encode(state)

    def decode(self, _tag, state):
        return msgspec.json.decode(state, type=tuple[int, int])
