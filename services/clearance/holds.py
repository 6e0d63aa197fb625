"""Holds of a field: play is stopped from the moment that anybody asks for it until a person resumes it."""

from datetime import date, datetime, timedelta

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Recorded
from contracts.games import HoldAsked, HoldCause, HoldConfirmed, HoldLifted

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Hold(Struct, frozen=True):
    """One hold on one field."""

    hold: str
    cause: HoldCause
    day: date
    asked: Place
    confirmed: Place | None = None
    lifted: Place | None = None


def asked(holds: tuple[Hold, ...], event: Recorded[HoldAsked]) -> tuple[Hold, ...]:
    """A new hold stands at once. One asked for again stays as it is, unless that happened after it was lifted.

    Lifted holds of earlier days are forgotten.
    """
    data, place = event.data, (event.occurred_at, event.position)
    if any(one.hold == data.hold and (one.lifted is None or place[0] <= one.lifted[0]) for one in holds):
        return holds
    kept = (one for one in holds if one.lifted is None or one.day >= event.day)
    return (*kept, Hold(data.hold, data.cause, event.day, place))


def confirmed(holds: tuple[Hold, ...], event: Recorded[HoldConfirmed]) -> tuple[Hold, ...]:
    place = (event.occurred_at, event.position)
    return tuple(
        replace(one, confirmed=place) if one.hold == event.data.hold and one.lifted is None else one for one in holds
    )


def lifted(holds: tuple[Hold, ...], event: Recorded[HoldLifted]) -> tuple[Hold, ...]:
    """Lifts what had been asked for by this position, whatever the clocks of the two devices say."""
    place = (event.occurred_at, event.position)
    return tuple(
        replace(one, lifted=max(place, one.asked)) if one.hold == event.data.hold and one.lifted is None else one
        for one in holds
    )


def stopped(holds: tuple[Hold, ...], start: datetime, end: datetime) -> timedelta:
    """How long at least one of these holds stood between two moments."""
    total, until = timedelta(), start
    for one in sorted(holds, key=lambda hold: hold.asked):
        begins = max(one.asked[0], until)
        ends = end if one.lifted is None else min(one.lifted[0], end)
        if ends > begins:
            total += ends - begins
            until = ends
    return total
