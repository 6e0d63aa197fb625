"""The projector: keeps a park's projections up to date in one process, from the bus when it can, from the log when it must."""

import asyncio
import time
from collections.abc import Sequence
from typing import Any

import structlog
from prometheus_client import Gauge

from contracts.envelope import Recorded
from contracts.leaf import LeafError
from services.core.backoff import Backoff
from services.core.bus import Bus
from services.core.feed import Feed
from services.core.log import Log, Row
from services.core.pool import LOST, Pool
from services.core.projection import Listener, Projection
from services.core.recent import recent
from services.core.track import NotNext, Track

POSITION = Gauge("fieldledger_projection_position", "Last position projected", ["name", "park"])
FAILED = Gauge("fieldledger_projection_failed", "1 while a projection cannot take in an event", ["name", "park"])
_PACE = 0.02
"""Seconds between two steps at least: under load each then takes in more."""
_LOOK_BACK_EVERY = 5.0
"""Seconds, while nothing is told: the commits of rows are not waited for, so a crash of the database may undo the last ones."""
_logger = structlog.get_logger()


class Projector:
    """One reader of a park's events for all of a process's projections. `reader` names the process to the bus."""

    def __init__(
        self, log: Log, pool: Pool, projections: Sequence[Projection[Any]], bus: Bus | None, reader: str
    ) -> None:
        self._log = log
        self._tracks = {projection.name: Track(projection, log.park, pool) for projection in projections}
        self._feed = Feed(log, bus, reader)
        self._moved = asyncio.Condition()
        self._backoffs = {name: Backoff() for name in self._tracks}
        self._retry_at = dict.fromkeys(self._tracks, 0.0)
        self._look_back_at = self._last_step = 0.0
        self.failures: dict[str, str] = {}

    @property
    def connected(self) -> bool:
        """Whether the bus is feeding it; without, it reads the log twice a second."""
        return self._feed.connected

    def position(self, name: str | None = None) -> int:
        """How far the projection has come; all of them, when none is named."""
        return self._tracks[name].position if name else min(track.position for track in self._tracks.values())

    def listen(self, name: str, listener: Listener) -> None:
        """Call `listener` after each batch that projection `name` has committed."""
        self._tracks[name].listeners.append(listener)

    def hear(self, listener: Listener) -> None:
        """Call `listener` after each batch that the first of the projections has committed: for who keeps no rows, and only is to hear what is new."""
        for track in list(self._tracks.values())[:1]:
            track.listeners.append(listener)

    async def reached(self, position: int, deadline: float, name: str | None = None) -> None:
        """Return once the projection has come to `position`; TimeoutError after `deadline` seconds."""
        try:
            async with asyncio.timeout(deadline), self._moved:
                await self._moved.wait_for(lambda: self.position(name) >= position)
        except TimeoutError:
            if self.position(name) < position:
                raise  # else it came just as the wait was given up

    async def run(self) -> None:
        """Project for ever. A database that is away is waited for; one projection's fault does not stop the others."""
        backoff = Backoff()
        opened = False
        try:
            while True:
                try:
                    if not opened:
                        for name, track in self._tracks.items():
                            if await track.renew():
                                _logger.info("rows of another version are made again", name=name, park=track.park)
                            await track.open()
                        opened = True
                    await self._step()
                    backoff.succeeded()
                except LOST as error:
                    _logger.warning("projector waits for the database", park=self._log.park, why=repr(error))
                    self._look_back_at = 0.0
                    await asyncio.sleep(backoff.failed())
        finally:
            await self._feed.close()

    async def _step(self) -> None:
        await asyncio.sleep(max(0.0, self._last_step + _PACE - time.monotonic()))
        events = self._decoded(await self._feed.rows(self.position()))
        self._last_step = time.monotonic()
        head = None if events else await self._log.head()
        if head:
            await self._look_back()
        for name, track in self._tracks.items():
            if time.monotonic() >= self._retry_at[name]:
                await self._guarded(name, track, events, head.position if head else 0)
        await self._feed.acknowledge()
        if head:
            await self._feed.expect(head.epoch)
        async with self._moved:
            self._moved.notify_all()

    async def _look_back(self) -> None:
        if time.monotonic() >= self._look_back_at:
            for track in self._tracks.values():
                await track.look_back()
            self._look_back_at = time.monotonic() + _LOOK_BACK_EVERY

    def _decoded(self, rows: Sequence[Row]) -> list[Recorded[Any]]:
        """The events in the bus's rows. Where it holds anything but the log's leaves, none: the log will be read."""
        try:
            events = [recent(row.leaf) for row in rows]
        except LeafError as error:
            _logger.error("the bus delivered what is no leaf", park=self._log.park, why=str(error))  # noqa: TRY400
            return []
        return [event for row, event in zip(rows, events, strict=True) if row.position == event.position]

    async def _guarded(self, name: str, track: Track[Any], events: list[Recorded[Any]], head: int) -> None:
        try:
            await self._advance(track, events, head)
        except LOST:
            raise
        except Exception as error:
            _logger.exception("projection failed", name=name, park=track.park, position=track.position)
            self.failures[name] = repr(error)
            self._retry_at[name] = time.monotonic() + self._backoffs[name].failed()
        else:
            self.failures.pop(name, None)
            self._backoffs[name].succeeded()
        POSITION.labels(name, track.park).set(track.position)
        FAILED.labels(name, track.park).set(name in self.failures)

    async def _advance(self, track: Track[Any], events: list[Recorded[Any]], head: int) -> None:
        """Take in what the bus delivered; read the log where that leaves a gap, or when it delivers nothing."""
        news = [event for event in events if event.position > track.position]
        try:
            if news and _dense(news, track.position):
                await track.project(news, self._feed.epoch)
            elif news or head > track.position:
                await track.replay(self._log)
        except NotNext:
            await track.replay(self._log)


def _dense(events: Sequence[Recorded[Any]], after: int) -> bool:
    return [event.position for event in events] == list(range(after + 1, after + 1 + len(events)))
