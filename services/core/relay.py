"""The relay: publishes a park's log to its stream, so that stream sequence = position.

The log is the outbox and the stream's last sequence is the cursor; the relay remembers nothing. One process a park
leads, by an advisory lock; should two believe that they do, the server refuses the one that is behind.
"""

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from typing import Literal

import asyncpg
import structlog
from prometheus_client import Counter, Gauge

from contracts.leaf import epoch_of
from services.core.backoff import Backoff
from services.core.bus import Bus
from services.core.log import Log
from services.core.pool import LOST
from services.core.stream import BATCH, BusUnavailable, LaterEpoch, Stream, WrongSequence

State = Literal["starting", "standby", "relaying", "bus down", "database down", "halted"]
PUBLISHED = Counter("fieldledger_relay_published", "Events published to the bus", ["park"])
POSITION = Gauge("fieldledger_relay_position", "Last position published to the bus", ["park"])
HALTED = Gauge("fieldledger_relay_halted", "1 while the stream contradicts the log", ["park"])
_POLL = 0.5
_PACE = 0.02  # seconds between two publications at least: under load each then carries more
_PATIENCE = 5.0
_LOOK_AT_STREAM_EVERY = 5.0
_LEAD = "SELECT pg_try_advisory_lock(hashtextextended('fieldledger relay ' || $1, 0))"
_logger = structlog.get_logger()


class Halt(Exception):  # noqa: N818 - a state of the world, not a mistake
    """The stream holds what the log does not: a person must look before anything more is published."""


class Relay:
    """Publishes one park's log for ever. `connect` gives a database connection that nobody else uses."""

    def __init__(self, log: Log, bus: Bus, connect: Callable[[], Awaitable[asyncpg.Connection]]) -> None:
        self._log = log
        self._bus = bus
        self._connect = connect
        self._hint = asyncio.Event()
        self.state: State = "starting"
        self.why = ""
        self.position = 0
        HALTED.labels(log.park).set(0)

    async def run(self) -> None:
        """Lead when nobody else does; wait and look again after every failure. Ends only when cancelled."""
        backoff = Backoff()
        while True:
            try:
                async with self._leadership() as connection:
                    backoff.succeeded()
                    await self._lead(connection)
            except LOST as error:
                self._enter("database down", repr(error))
                await asyncio.sleep(backoff.failed())

    def _enter(self, state: State, why: str = "") -> None:
        if (state, why) != (self.state, self.why):
            (_logger.error if state == "halted" else _logger.info)("relay", park=self._log.park, state=state, why=why)
        self.state, self.why = state, why
        HALTED.labels(self._log.park).set(state == "halted")

    @asynccontextmanager
    async def _leadership(self) -> AsyncIterator[asyncpg.Connection]:
        connection = await self._connect()
        try:
            while not await connection.fetchval(_LEAD, self._log.park, timeout=_PATIENCE):
                self._enter("standby")
                await asyncio.sleep(_POLL)
            await connection.add_listener("fieldledger", self._hear)
            yield connection
        finally:
            connection.terminate()

    def _hear(self, _connection: object, _pid: int, _channel: str, payload: object) -> None:
        if str(payload).partition(" ")[0] == self._log.park:
            self._hint.set()

    async def _lead(self, connection: asyncpg.Connection) -> None:
        backoff = Backoff()
        while True:
            try:
                await self._follow(connection, await self._resume())
                backoff.succeeded()
            except WrongSequence as error:
                _logger.warning("relay overtaken", park=self._log.park, why=str(error))
            except BusUnavailable as error:
                self._enter("bus down", str(error))
                await self._pause(connection, backoff.failed())
            except (Halt, LaterEpoch) as error:
                self._enter("halted", str(error))
                await self._pause(connection, _LOOK_AT_STREAM_EVERY)

    async def _resume(self) -> Stream:
        """Find where the stream ends; make it when it is missing. Raises Halt when it contradicts the log."""
        stream = Stream(self._log.park, (await self._log.head()).epoch)
        end = await self._bus.end(stream)
        if end is None:
            await self._bus.make(stream)
            self.position = 0
            return stream
        head = await self._log.head()
        if end.position > head.position:
            raise Halt(f"stream {stream.name} ends at {end.position}, but the log at {head.position}")
        if end.leaf is not None:
            rows = await self._log.tail(end.position - 1, 1)
            if not rows or rows[0].leaf != end.leaf:
                raise Halt(f"stream {stream.name} holds other bytes than the log at position {end.position}")
        self.position = end.position
        return stream

    async def _follow(self, connection: asyncpg.Connection, stream: Stream) -> None:
        """Publish for some seconds; then the stream and the epoch are due to be looked at again."""
        self._enter("relaying")
        look_again = time.monotonic() + _LOOK_AT_STREAM_EVERY
        while time.monotonic() < look_again:
            if connection.is_closed():
                raise ConnectionError("the leader's database connection is gone")
            self._hint.clear()
            begun = time.monotonic()
            if not await self._publish_next(stream):
                await self._hear_or_poll(connection)
            else:
                await asyncio.sleep(max(0.0, begun + _PACE - time.monotonic()))

    async def _publish_next(self, stream: Stream) -> bool:
        rows = await self._log.tail(self.position, BATCH)
        if not rows:
            return False
        if rows[-1].position - self.position != len(rows):
            raise Halt(f"the log has a hole between {self.position} and {rows[-1].position}")
        if epoch_of(rows[-1].leaf) > stream.epoch:
            raise WrongSequence(f"the log has begun another epoch than that of {stream.name}")
        self.position = await self._bus.publish(stream, [row.leaf for row in rows], self.position)
        POSITION.labels(self._log.park).set(self.position)
        PUBLISHED.labels(self._log.park).inc(len(rows))
        return True

    async def _hear_or_poll(self, connection: asyncpg.Connection) -> None:
        try:
            async with asyncio.timeout(_POLL):  # wait_for can swallow a cancellation before Python 3.12
                await self._hint.wait()
        except TimeoutError:
            await connection.execute("SELECT 1", timeout=_PATIENCE)

    async def _pause(self, connection: asyncpg.Connection, seconds: float) -> None:
        await asyncio.sleep(seconds)
        await connection.execute("SELECT 1", timeout=_PATIENCE)
