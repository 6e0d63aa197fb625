"""The turns of a station today: whom each of its servers served, from when to when, as far as events say.

A turn lasts while what a server records is about the same people: they share a player, a person, a group or a marker. A server is the
device that records; at the chronograph it is the instrument.
"""

from datetime import date, datetime, timedelta
from typing import Any, Final

from msgspec import Struct
from msgspec.structs import replace

from contracts.board import StationName
from contracts.envelope import Data, Recorded
from contracts.equipment import GearInspected, GearIssued, IssueRefused
from contracts.registration import (
    BriefingHeld,
    ConsentGiven,
    PassReissued,
    PaymentRecorded,
    PlayerRegistered,
    WaiverSigned,
)
from contracts.velocity import MarkerTested, StringAbandoned, StringOpened
from services.core.fold import Fold

KEPT: Final = 40
"""The latest turns of a station that are kept."""
APART: Final = timedelta(minutes=15)
"""Whoever is recorded again after this comes for another turn. Common practice, no source."""
SERVES: Final[dict[type[Data], StationName]] = {
    PlayerRegistered: "desk",
    PassReissued: "desk",
    PaymentRecorded: "desk",
    WaiverSigned: "desk",
    ConsentGiven: "desk",
    BriefingHeld: "briefing",
    GearIssued: "gear counter",
    IssueRefused: "gear counter",
    GearInspected: "gear counter",
    StringOpened: "chronograph",
    MarkerTested: "chronograph",
    StringAbandoned: "chronograph",
}
"""What serves somebody who stands in line, and where. Air is filled without any record, so nothing can be said of that line."""
SERVED: Final[tuple[StationName, ...]] = ("desk", "briefing", "gear counter", "chronograph")
_WHOM: Final = ("player", "marker")
_SHARED: Final = frozenset({"player", "person", "group", "marker"})


class Turn(Struct, frozen=True, array_like=True):
    """One turn of a server. `whom` is the tag of who was served first; `opened`: `first` is its true beginning, not only its first entry."""

    server: str
    first: datetime
    last: datetime
    whom: str
    heads: int
    opened: bool


class Serving(Struct, frozen=True):
    """A server's latest turn, with everybody whom it is about so far."""

    turn: Turn
    tags: frozenset[str]


class Turns(Struct, frozen=True):
    """A station's day."""

    station: str
    day: date | None = None
    serving: dict[str, Serving] = {}
    done: tuple[Turn, ...] = ()
    heads: int = 0
    """How many were served in turns that are over."""


def _recorded(turns: Turns, event: Recorded[Any]) -> Turns:
    """What comes late tells nothing of the pace, and is left out."""
    if turns.day is not None and event.day < turns.day:
        return turns
    if turns.day != event.day:
        turns = Turns(turns.station, event.day)
    server = event.data.chrono if hasattr(event.data, "chrono") else event.device
    before = turns.serving.get(server)
    if before is not None and event.occurred_at < before.turn.last:
        return turns
    tags = frozenset(tag for tag in event.tags if tag.partition(":")[0] in _SHARED)
    whom = sorted(tag for tag in tags if tag.partition(":")[0] in _WHOM)
    if before is not None and event.occurred_at - before.turn.last < APART and (tags & before.tags or not whom):
        return replace(turns, serving={**turns.serving, server: _goes_on(before, event, tags)})
    if not whom:
        return turns
    opened = isinstance(event.data, StringOpened)
    begun = Serving(Turn(server, event.occurred_at, event.occurred_at, whom[0], len(whom), opened), tags)
    done = (*turns.done, before.turn)[-KEPT:] if before is not None else turns.done
    heads = turns.heads + (before.turn.heads if before is not None else 0)
    return replace(turns, serving={**turns.serving, server: begun}, done=done, heads=heads)


def _goes_on(serving: Serving, event: Recorded[Any], tags: frozenset[str]) -> Serving:
    everybody = serving.tags | tags
    heads = max(serving.turn.heads, sum(tag.startswith("player:") for tag in everybody))
    return Serving(replace(serving.turn, last=event.occurred_at, heads=heads), everybody)


def station_served(event: Recorded[Any]) -> StationName | None:
    """Where an event served somebody; None where it served nobody."""
    return SERVES.get(type(event.data))


TURNS: Fold[Turns] = Fold("board.turns", "station", Turns, dict.fromkeys(SERVES, _recorded))
