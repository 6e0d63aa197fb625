"""A scenario's events as the rows that a log holds, so that their story can be told."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec

from contracts import leaf
from contracts.catalogue import tags_of
from contracts.envelope import Data, Event, Recorded
from contracts.story import Story, Told
from services.audit.stories.story import ALL, Span, tell
from services.core.log import Row
from tests.unit.scenario import NINE, Scenario

PARK = "test"


def row(event: Recorded[Any]) -> Row:
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
    framed = leaf.frame(event.park, event.epoch, event.position, event.recorded_at, leaf.encode(body))
    return Row(event.position, framed)


def recorded(data: Data, kind: str, position: int = 1, at: datetime = NINE, **more: Any) -> Recorded[Any]:
    """An event of any type, recorded as it happened unless `more` says otherwise."""
    times: dict[str, Any] = {"recorded_at": at, "occurred_at": at, "claimed_at": None, "clock": "server"} | more
    return Recorded(
        park=PARK, epoch=1, position=position, id=UUID(int=position), type=kind, day=at.date(), device="desk-1",
        device_seq=None, actor="staff-wren", tags=tags_of(data), data=data, **times,
    )  # fmt: skip


def story(day: Scenario | Iterable[Recorded[Any]], tag: str, span: Span = ALL) -> Story:
    events = day.events if isinstance(day, Scenario) else day
    return tell(PARK, tag, [row(event) for event in events], span)


def of(told: Story, kind: str) -> list[Told]:
    """The events of a type, by its name without the service."""
    return [event for event in told.events if event.type.partition(".")[2] == kind]
