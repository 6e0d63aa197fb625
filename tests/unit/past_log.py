"""A log in memory that can be read as it was: what the database's functions promise, in a few plain loops."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import msgspec

from contracts import leaf
from contracts.catalogue import carries_of
from contracts.envelope import Event, Recorded
from services.core.reader import Head, Row


def leaf_of(event: Recorded[Any]) -> bytes:
    """An event's leaf, made again."""
    body = Event(
        type=event.type,
        version=event.data.VERSION,
        id=event.id,
        day=event.day,
        occurred_at=event.occurred_at,
        claimed_at=event.claimed_at,
        clock=event.clock,
        device=event.device,
        device_seq=event.device_seq,
        actor=event.actor,
        tags=event.tags,
        data=msgspec.Raw(msgspec.json.encode(event.data)),
    )
    return leaf.frame(event.park, event.epoch, event.position, event.recorded_at, leaf.encode(body))


class PastLog:
    """Reads events that were recorded elsewhere, by position or by tag. `leaves` are their bytes, in order."""

    def __init__(self, park: str, events: Sequence[Recorded[Any]], leaves: Sequence[bytes]) -> None:
        self.park = park
        self._events = events
        self._leaves = leaves

    async def head(self) -> Head:
        return Head(self._events[-1].epoch, len(self._events))

    async def position_at(self, moment: datetime) -> int:
        return sum(1 for event in self._events if event.recorded_at <= moment)

    async def tail(self, after: int, limit: int = 1000) -> list[Row]:
        return [self._row(position) for position in range(after + 1, min(after + limit, len(self._events)) + 1)]

    async def between(self, first: int, last: int) -> list[Row]:
        return await self.tail(first - 1, max(0, last - first + 1))

    async def read_at(
        self, untils: Mapping[str, int], happened: datetime | None = None, reaching: Sequence[str] = ()
    ) -> dict[str, list[Row]]:
        return {
            tag: [self._row(position) for position in self._positions(tag, until, happened, reaching)]
            for tag, until in untils.items()
        }

    def _positions(self, tag: str, until: int, happened: datetime | None, reaching: Sequence[str]) -> list[int]:
        told = [one for one in self._events[:until] if tag in one.tags]
        had = [one for one in told if happened is None or one.occurred_at <= happened]
        anew = max((one.position for one in had if tag in carries_of(one.data)), default=0)
        return [one.position for one in told if one.position >= anew and (one in had or one.type in reaching)]

    def _row(self, position: int) -> Row:
        return Row(position, self._leaves[position - 1])
