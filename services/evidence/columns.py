"""What the database says beside the leaf of one event: its columns and its entries in the index by tag."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from operator import attrgetter
from typing import Any
from uuid import UUID

from msgspec import Struct

from contracts.envelope import Recorded, Unknown
from services.evidence.finding import Finding

_COLUMNS = ("park", "position", "epoch", "id", "type", "day", "occurred_at", "recorded_at", "device")
_values = attrgetter(*_COLUMNS)


class EventRow(Struct, frozen=True):
    """A row of log.event."""

    park: str
    position: int
    epoch: int
    id: UUID
    type: str
    day: date
    occurred_at: datetime
    recorded_at: datetime
    device: str
    tags: Sequence[str]
    leaf: bytes


class TagRow(Struct, frozen=True):
    """A row of log.event_tag."""

    position: int
    tag: str
    type: str
    carries: bool


def columns(row: EventRow, event: Recorded[Any]) -> Iterator[Finding]:
    """The columns that do not say what the leaf does."""
    if _values(row) != _values(event):
        for name, there, recorded in zip(_COLUMNS, _values(row), _values(event), strict=True):
            if there != recorded:
                yield _column(row.position, name, there, recorded)
    if tuple(row.tags) != event.tags:
        there = ", ".join(map(str, row.tags))
        yield _column(row.position, "tags", there or "nothing", ", ".join(event.tags) or "nothing")


def _column(position: int, name: str, there: object, recorded: object) -> Finding:
    sentence = f"Position {position}: the column {name} says {there}, the recorded bytes say {recorded}."
    return Finding("column", position, sentence)


def index(position: int, event: Recorded[Any], rows: Sequence[TagRow]) -> Iterator[Finding]:
    """The entries of the index by tag that are missing, too many, or changed.

    Where a tag's story begins anew follows from the event's type, so that is not held against data that only a newer version can read.
    """
    missing = dict.fromkeys(event.tags)
    for row in rows:
        if row.tag in missing:
            del missing[row.tag]
            yield from _entry(position, event, row)
        else:
            yield _tag(position, row.tag, "the index has this tag, the recorded bytes do not")
    for tag in missing:
        yield _tag(
            position, tag, "the recorded bytes have this tag, the index does not, so whoever looks by it misses it"
        )


def _entry(position: int, event: Recorded[Any], row: TagRow) -> Iterator[Finding]:
    if row.type != event.type:
        yield _tag(position, row.tag, f"the index says {row.type}, the recorded bytes say {event.type}")
    begins = row.tag.partition(":")[0] in event.data.CARRIES
    if row.carries != begins and not isinstance(event.data, Unknown):
        said, true = ("begins anew", "goes on") if row.carries else ("goes on", "begins anew")
        yield _tag(position, row.tag, f"the index says that its story {said} here, but by the event's type it {true}")


def _tag(position: int, tag: str, what: str) -> Finding:
    return Finding("tag", position, f"Position {position}, tag {tag}: {what}.", tag=tag)
