"""A point of the log as a question names it: an epoch and position, or an instant (what had been recorded by then)."""

from datetime import UTC, datetime

import msgspec

from contracts.problems import InvalidParameter, PositionAhead
from services.core.log import Log
from services.core.recent import recent


async def position_of(log: Log, asked: str, name: str) -> int:
    """The position that a point means.

    Raises InvalidParameter where it is neither form, PositionAhead where the log holds no such position in that epoch.
    """
    epoch, colon, position = asked.partition(":")
    if colon and epoch.isdecimal() and position.isdecimal() and len(asked) < 30:
        return await _of_epoch(log, int(epoch), int(position), asked, name)
    moment = _instant(asked)
    if moment is None:
        raise InvalidParameter(
            f"{name}={asked[:40]} is neither <epoch>:<position>, such as 1:4711, nor an instant with its offset, "
            "such as 2026-05-09T13:50:00Z.",
            where=name,
        )
    return await log.position_at(moment)


def _instant(asked: str) -> datetime | None:
    """None where it is none, names no offset, or lies outside the calendar in UTC."""
    try:
        moment = msgspec.convert(asked, datetime)
        return moment.astimezone(UTC) if moment.tzinfo else None
    except (msgspec.ValidationError, OverflowError):
        return None


async def _of_epoch(log: Log, epoch: int, position: int, asked: str, name: str) -> int:
    head = await log.head()
    rows = await log.between(position, position) if 0 < position <= head.position else []
    if not rows or recent(rows[0].leaf).epoch != epoch:
        raise PositionAhead(
            f"{name}={asked}, but the log, which stands at {head.epoch}:{head.position}, holds no such position. "
            "Send one that a receipt or a story was answered with.",
            where=name,
        )
    return position
