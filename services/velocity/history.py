"""A marker's history across days: what was read of it and on which chronograph, after which change, on the field, how often it was out, what stopped it.

Bounded: the latest entries, and the latest days of use. In whatever order it is told, the same things make the same history; only who holds the
marker now follows the order of telling where a move is told late.
"""

from datetime import date, datetime, timedelta
from typing import Any, Final

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.equipment import (
    GearIssued,
    GearQuarantined,
    GearReleased,
    GearReturned,
    MarkerHandedOver,
    MarkerRegistered,
    MarkerSwapped,
)
from contracts.velocity import MarkerSpotChecked, MarkerTested, SetUpChanged
from services.core.fold import Evolve, Fold
from services.velocity.metrology.strings import summarize
from services.velocity.states import HARMLESS, Place

ENTRIES: Final = 200
DAYS: Final = 200
HOUR: Final = timedelta(hours=1)
STOPPAGES: Final = frozenset({"jam", "leak", "trigger", "regulator", "valve"})
"""Faults that stop a marker in play. Common practice, no source."""


class Entry(Struct, frozen=True, array_like=True):
    """Something that was read of a marker or done to it."""

    at: datetime
    position: int
    day: date

    @property
    def place(self) -> Place:
        return self.at, self.position


class Read(Entry, frozen=True, array_like=True, tag="string"):
    """A string, in ft/s; its standard deviation where it has two readings."""

    chrono: str
    n: int
    mean_fps: float
    sd_fps: float | None
    highest_fps: float


class Spot(Entry, frozen=True, array_like=True, tag="spot"):
    """One reading in ft/s on a field; `over`: it reached the bench limit, so the set-up counts no more."""

    field: str
    speed_fps: float
    over: bool


class Change(Entry, frozen=True, array_like=True, tag="change"):
    """A change after which the marker is in another set-up."""

    what: str


class Used(Struct, frozen=True, array_like=True):
    """One operating day of a marker: from the first to the last thing that was told of it, how often it was given out, what stopped it."""

    day: date
    first: datetime
    last: datetime
    uses: int = 0
    stoppages: tuple[str, ...] = ()


class History(Struct, frozen=True):
    """Entries in the order in which they happened, days in theirs. `moved`: when it last changed hands."""

    marker: str
    model: str = ""
    calibre: str = ""
    hired: bool = False
    holder: str | None = None
    moved: Place | None = None
    entries: tuple[Read | Spot | Change, ...] = ()
    days: tuple[Used, ...] = ()

    def begun(self) -> dict[date, tuple[datetime, float]]:
        """By day, its first thing and the marker's hours before it: those from the first to the last thing of each day, so that nights do not count."""
        found, hours = {}, 0.0
        for one in self.days:
            found[one.day] = one.first, hours
            hours += (one.last - one.first) / HOUR
        return found

    def hours(self, moment: datetime, today: date | None = None) -> float:
        """The marker's hours up to a moment; its day `today` lasts until then."""
        ends = ((one.first, moment if one.day == today else min(moment, one.last)) for one in self.days)
        return sum(max(0.0, (end - first) / HOUR) for first, end in ends)


def _at(event: Recorded[Any]) -> tuple[datetime, int, date]:
    return event.occurred_at, event.position, event.day


def _seen(history: History, event: Recorded[Any], *, uses: int = 0, stoppages: tuple[str, ...] = ()) -> History:
    """The marker's day with one more thing in it."""
    days = {one.day: one for one in history.days}
    at = event.occurred_at
    known = days.get(event.day) or Used(event.day, at, at)
    days[event.day] = Used(
        day=event.day,
        first=min(known.first, at),
        last=max(known.last, at),
        uses=known.uses + uses,
        stoppages=tuple(sorted((*known.stoppages, *stoppages))),
    )
    return replace(history, days=tuple(days[day] for day in sorted(days)[-DAYS:]))


def _entered(history: History, event: Recorded[Any], entry: Read | Spot | Change) -> History:
    entries = sorted((*history.entries, entry), key=lambda one: one.place)
    return replace(_seen(history, event), entries=tuple(entries[-ENTRIES:]))


def _to(history: History, event: Recorded[Any], holder: str | None) -> History:
    place = (event.occurred_at, event.position)
    if history.moved is not None and place < history.moved:
        return history
    return replace(history, holder=holder, moved=place)


def _given_out(history: History, event: Recorded[Any], taker: str) -> History:
    return _to(_seen(history, event, uses=1), event, taker)


def _registered(history: History, event: Recorded[MarkerRegistered]) -> History:
    data = event.data
    history = replace(history, model=data.model, calibre=data.calibre, hired=data.owner is None)
    return _seen(history, event) if data.owner is None else _given_out(history, event, data.owner)


def _tested(history: History, event: Recorded[MarkerTested]) -> History:
    """A string at low pressure, or without a reading, says nothing about the marker."""
    data = event.data
    if data.low_pressure or not data.readings_fps:
        return _seen(history, event)
    string = summarize(data.readings_fps)
    read = Read(*_at(event), data.chrono, string.n, string.mean_fps, string.sd_fps, string.highest_fps)
    return _entered(history, event, read)


def _spot_checked(history: History, event: Recorded[MarkerSpotChecked]) -> History:
    data = event.data
    return _entered(history, event, Spot(*_at(event), data.field, data.speed_fps, data.finding != "under"))


def _changed(history: History, event: Recorded[SetUpChanged]) -> History:
    if event.data.change in HARMLESS:
        return _seen(history, event)
    return _entered(history, event, Change(*_at(event), event.data.change))


def _released(history: History, event: Recorded[GearReleased]) -> History:
    return _entered(history, event, Change(*_at(event), "repair"))


def _quarantined(history: History, event: Recorded[GearQuarantined]) -> History:
    fault = event.data.fault
    return _seen(history, event, stoppages=(fault,) if fault in STOPPAGES else ())


def _issued(history: History, event: Recorded[GearIssued]) -> History:
    return _given_out(history, event, event.data.player)


def _handed_over(history: History, event: Recorded[MarkerHandedOver]) -> History:
    return _given_out(history, event, event.data.taker)


def _swapped(history: History, event: Recorded[MarkerSwapped]) -> History:
    if history.marker == event.data.marker:
        return _given_out(history, event, event.data.player)
    return _to(_seen(history, event), event, None)


def _returned(history: History, event: Recorded[GearReturned]) -> History:
    """A return takes the marker only from the one who holds it."""
    seen = _seen(history, event)
    return _to(seen, event, None) if history.holder == event.data.player else seen


_EVOLVES: dict[type[Data], Evolve[History]] = {
    MarkerRegistered: _registered,
    MarkerTested: _tested,
    MarkerSpotChecked: _spot_checked,
    SetUpChanged: _changed,
    GearReleased: _released,
    GearQuarantined: _quarantined,
    GearIssued: _issued,
    MarkerHandedOver: _handed_over,
    MarkerSwapped: _swapped,
    GearReturned: _returned,
}
HISTORY: Fold[History] = Fold("fleet.history", "marker", History, _EVOLVES)
