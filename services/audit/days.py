"""An operating day in the log: from which position to which it was recorded."""

from collections.abc import AsyncIterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from msgspec import Struct

from contracts.envelope import Recorded
from contracts.leaf import decode
from contracts.problems import InvalidParameter
from contracts.rules import Rules
from services.core.log import Log
from services.core.rules import NIGHT

BATCH: Final = 200
"""Events that are read at once: enough for the log, few enough that the gate of the same process waits for none of it."""


def must_be_datable(moment: date | None, where: str) -> None:
    """Raises InvalidParameter for a day or moment that no log holds and no clock can be set to."""
    if moment is not None and not 1970 <= moment.year < 3000:
        raise InvalidParameter(f"{where} is {moment}: name a day from 1970 on, and before the year 3000.", where=where)


class Range(Struct, frozen=True):
    """Positions, both included."""

    first: int
    last: int


def begins(day: date, rules: Rules) -> datetime:
    """When an operating day begins, by the park's own clock; UTC."""
    return (datetime.combine(day, time(), ZoneInfo(rules.time_zone)) + NIGHT).astimezone(UTC)


async def recorded_on(log: Log, day: date, rules: Rules) -> Range:
    """What was recorded on an operating day. Nothing that happened on it was recorded before; some may have been later."""
    first = await log.position_at(begins(day, rules) - timedelta(microseconds=1))
    last = await log.position_at(begins(day + timedelta(days=1), rules) - timedelta(microseconds=1))
    return Range(first + 1, last)


async def story(log: Log, positions: Range) -> AsyncIterator[Sequence[Recorded[Any]]]:
    """The events of a range, in order, some at a time."""
    after = positions.first - 1
    while after < positions.last:
        rows = await log.tail(after, min(BATCH, positions.last - after))
        if not rows:
            return
        yield [decode(row.leaf) for row in rows]
        after = rows[-1].position
