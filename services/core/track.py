"""A track: one projection of one park on its way along the log, in one process."""

from collections.abc import Iterable, Sequence
from typing import Any, Generic, TypeVar

import asyncpg

from contracts.envelope import Recorded
from contracts.leaf import decode
from services.core import generations
from services.core.generations import Checkpoint
from services.core.log import Log
from services.core.pool import Pool
from services.core.projection import Change, Listener, Projection

S = TypeVar("S")
Events = Sequence[Recorded[Any]]
BATCH = 1000
_REMEMBERED = 20_000


class NotNext(Exception):  # noqa: N818 - a state of the world, not a mistake
    """These events do not follow the checkpoint, or are not the log's as it is now: read the log from `position`."""


class Track(Generic[S]):
    """Applies events to the live generation, or to the one given, exactly once however often they come."""

    def __init__(self, projection: Projection[S], park: str, pool: Pool, generation: int | None = None) -> None:
        self.projection = projection
        self.park = park
        self.position = 0
        self.listeners: list[Listener] = []
        self._pool = pool
        self._generation = generation
        self._states: dict[str, S] = {}
        self._states_as_of: tuple[int, int] | None = None

    async def renew(self) -> bool:
        """Begin anew where the rows are of another shape, as another version of this software has left them; whether they were."""
        name, shape = self.projection.name, self.projection.shape
        async with self._pool.connection() as connection:
            if not await generations.retire_others(connection, name, self.park, shape):
                return False
            await generations.drop_spares(connection, name, self.park)
        return True

    async def open(self) -> None:
        """Begin where the checkpoint is."""
        async with self._pool.connection() as connection, connection.transaction():
            self.position = (await self._lock(connection)).position

    async def look_back(self) -> None:
        """Go back to where the checkpoint is, should a crash of the database have undone what was projected last."""
        async with self._pool.connection() as connection, connection.transaction():
            self.position = min(self.position, (await self._lock(connection)).position)

    async def _lock(self, connection: asyncpg.Connection) -> Checkpoint:
        if self._generation is not None:
            return await generations.lock(connection, self._generation)
        return await generations.lock_live(connection, self.projection.name, self.park, self.projection.shape)

    async def project(self, events: Events, epoch: int | None = None) -> None:
        """Take in the events behind `position`, dense and in order, at most BATCH: rows and checkpoint in one transaction.

        What another process has applied already is only passed on to the listeners. `epoch`: whose stream they come from, unless
        from the log itself. Raises NotNext.
        """
        try:
            async with self._pool.connection() as connection, connection.transaction():
                at = await self._lock(connection)
                fresh = self._fresh(at, events, epoch)
                states = await self._load(connection, at, events)
                changed = set(self.projection.apply(fresh, states))
                if fresh:
                    await generations.save(connection, at, fresh[-1].position, self._rows(fresh, changed, states))
        except BaseException:
            self._states_as_of = None
            raise
        self._remember(states, (at.generation, max(at.position, events[-1].position)))
        self.position = events[-1].position
        self._tell(at.epoch, events, {tag: states[tag] for tag in self._changed(at, events, changed) if tag in states})

    def _fresh(self, at: Checkpoint, events: Events, epoch: int | None) -> Events:
        if epoch not in {None, at.epoch}:
            raise NotNext(f"the events are from the stream of epoch {epoch}, the log is in epoch {at.epoch}")
        if at.position < events[0].position - 1:
            self.position = at.position
            raise NotNext(f"the checkpoint is at {at.position}, the events begin at {events[0].position}")
        if events[-1].position > at.head:
            raise NotNext(f"the events end at {events[-1].position}, the log at {at.head}")
        if self._states_as_of != (at.generation, at.position):
            self._states.clear()
        return events[max(0, at.position - events[0].position + 1) :]

    async def _load(self, connection: asyncpg.Connection, at: Checkpoint, events: Events) -> dict[str, S]:
        tags = dict.fromkeys(tag for event in events for tag in self.projection.tags(event))
        states = {tag: self._states[tag] for tag in tags if tag in self._states}
        if missing := [tag for tag in tags if tag not in states]:
            found = await generations.load(connection, at.generation, missing)
            states |= {tag: self.projection.decode(tag, state) for tag, state in found.items()}
        return states

    def _rows(self, fresh: Events, changed: set[str], states: dict[str, S]) -> Iterable[tuple[str, int, bytes]]:
        told = {tag: event.position for event in fresh for tag in self.projection.tags(event)}
        return [(tag, told[tag], self.projection.encode(tag, states[tag])) for tag in sorted(changed)]

    def _changed(self, at: Checkpoint, events: Events, changed: set[str]) -> set[str]:
        stale = (event for event in events if event.position <= at.position)
        return changed.union(*(self.projection.tags(event) for event in stale))

    def _remember(self, states: dict[str, S], as_of: tuple[int, int]) -> None:
        """Keep the states used last, at most so many."""
        for tag, state in states.items():
            self._states.pop(tag, None)
            self._states[tag] = state
        for tag in list(self._states)[: max(0, len(self._states) - _REMEMBERED)]:
            del self._states[tag]
        self._states_as_of = as_of

    def _tell(self, epoch: int, events: Events, states: dict[str, S]) -> None:
        change = Change(self.projection.name, self.park, epoch, self.position, events, states)
        for listener in self.listeners:
            listener(change)

    async def replay(self, log: Log, until: int | None = None) -> None:
        """Follow the log itself, to its end or to a position."""
        while until is None or self.position < until:
            limit = BATCH if until is None else min(BATCH, until - self.position)
            before = self.position
            rows = await log.tail(before, limit)
            if not rows:
                return
            try:
                await self.project([decode(row.leaf) for row in rows])
            except NotNext:
                if self.position == before:
                    raise
