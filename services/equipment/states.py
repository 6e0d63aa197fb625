"""What the gear counter remembers of each marker, mask and bottle: whose it is, who holds it, what was found wrong with it."""

from datetime import date
from typing import Any, ClassVar, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.equipment import (
    BottleRegistered,
    BottleRequalified,
    GearInspected,
    GearIssued,
    GearQuarantined,
    GearReleased,
    GearReturned,
    MarkerHandedOver,
    MarkerRegistered,
    MarkerSwapped,
    MaskRegistered,
)
from contracts.incidents import CustodyTaken, IncidentRecorded
from contracts.velocity import SetUpChanged
from services.core.fold import Evolve, Fold
from services.equipment.custody import Move, Moves, Place, holder, last_move, moved


class Inspection(Struct, frozen=True):
    """What the latest inspection found. `cover`: a barrel cover that fits was seen with the marker."""

    place: Place
    day: date
    passed: bool
    cover: bool


class Gear(Struct, frozen=True):
    """A piece of gear: hired out by the park while it has no owner, else a player's own."""

    KIND: ClassVar[str] = ""
    name: str
    registered_on: date | None = None
    owner: str | None = None
    moves: Moves = ()
    faults: tuple[tuple[Place, str], ...] = ()
    """What keeps it in quarantine."""
    inspection: Inspection | None = None

    @property
    def tag(self) -> str:
        return f"{self.KIND}:{self.name}"

    @property
    def holder(self) -> str | None:
        return holder(self.moves)

    @property
    def last_move(self) -> Move | None:
        """What brought it to its holder, or back to the counter."""
        return last_move(self.moves)


class Marker(Gear, frozen=True):
    """A marker; its firing mode and gas are None while a change left them unknown."""

    KIND: ClassVar[str] = "marker"
    calibre: str | None = None
    firing_mode: str | None = None
    mode_since: Place | None = None
    gas: str | None = None
    gas_since: Place | None = None


class Mask(Gear, frozen=True):
    KIND: ClassVar[str] = "mask"


class Bottle(Gear, frozen=True):
    """A bottle. `test_due` is the last day of its test, as it was last read off it."""

    KIND: ClassVar[str] = "bottle"
    gas: str | None = None
    test_due: date | None = None
    due_since: Place | None = None


G = TypeVar("G", bound=Gear)


def _place(event: Recorded[Any]) -> Place:
    return event.occurred_at, event.position


def _superseded(place: Place, since: Place | None) -> bool:
    """Whether something that happened later is known already."""
    return since is not None and place < since


def _move(gear: G, event: Recorded[Any], giver: str | None, taker: str | None) -> G:
    return replace(gear, moves=moved(gear.moves, Move(_place(event), event.day, giver, taker)))


def _entered(gear: G, event: Recorded[Any]) -> G:
    owner = event.data.owner
    return _move(replace(gear, registered_on=event.day, owner=owner), event, None, owner)


def _marker_registered(marker: Marker, event: Recorded[MarkerRegistered]) -> Marker:
    data, place = event.data, _place(event)
    marker = replace(_entered(marker, event), calibre=data.calibre)
    if not _superseded(place, marker.mode_since):
        marker = replace(marker, firing_mode=data.firing_mode, mode_since=place)
    if not _superseded(place, marker.gas_since):
        marker = replace(marker, gas=data.gas, gas_since=place)
    return marker


def _bottle_registered(bottle: Bottle, event: Recorded[BottleRegistered]) -> Bottle:
    return _requalified(replace(_entered(bottle, event), gas=event.data.gas), event)


def _requalified(bottle: Bottle, event: Recorded[BottleRegistered] | Recorded[BottleRequalified]) -> Bottle:
    place = _place(event)
    if _superseded(place, bottle.due_since):
        return bottle
    return replace(bottle, test_due=event.data.test_due, due_since=place)


def _set_up_changed(marker: Marker, event: Recorded[SetUpChanged]) -> Marker:
    data, place = event.data, _place(event)
    names_mode = data.firing_mode is not None or data.change == "firing_mode"
    if names_mode and not _superseded(place, marker.mode_since):
        marker = replace(marker, firing_mode=data.firing_mode, mode_since=place)
    if data.change == "gas" and not _superseded(place, marker.gas_since):
        marker = replace(marker, gas=None, gas_since=place)
    return marker


def _issued(gear: G, event: Recorded[GearIssued]) -> G:
    return _move(gear, event, None, event.data.player)


def _returned(gear: G, event: Recorded[GearReturned]) -> G:
    return _move(gear, event, event.data.player, None)


def _handed_over(marker: Marker, event: Recorded[MarkerHandedOver]) -> Marker:
    return _move(marker, event, None, event.data.taker)


def _swapped(marker: Marker, event: Recorded[MarkerSwapped]) -> Marker:
    return _move(marker, event, None, event.data.player if marker.name == event.data.marker else None)


def _inspected(gear: G, event: Recorded[GearInspected]) -> G:
    place = _place(event)
    if gear.inspection is not None and place < gear.inspection.place:
        return gear
    return replace(
        gear, inspection=Inspection(place, event.day, passed=not event.data.faults, cover=event.data.barrel_cover)
    )


def _quarantined(gear: G, event: Recorded[GearQuarantined]) -> G:
    return replace(gear, faults=(*gear.faults, (_place(event), event.data.fault)))


def _impounded(gear: G, event: Recorded[IncidentRecorded] | Recorded[CustodyTaken]) -> G:
    return replace(gear, faults=(*gear.faults, (_place(event), "impounded")))


def _released(gear: G, event: Recorded[GearReleased]) -> G:
    """A release lifts what it could know of: faults that had happened, and been recorded, before it."""
    place = _place(event)
    return replace(gear, faults=tuple(fault for fault in gear.faults if fault[0] > place))


_ANY_GEAR: dict[type[Data], Evolve[Any]] = {
    GearIssued: _issued,
    GearReturned: _returned,
    GearInspected: _inspected,
    GearQuarantined: _quarantined,
    GearReleased: _released,
    CustodyTaken: _impounded,
}
_MARKER: dict[type[Data], Evolve[Marker]] = {
    **_ANY_GEAR,
    MarkerRegistered: _marker_registered,
    MarkerHandedOver: _handed_over,
    MarkerSwapped: _swapped,
    SetUpChanged: _set_up_changed,
    IncidentRecorded: _impounded,
}
MARKER: Fold[Marker] = Fold("equipment.marker", "marker", Marker, _MARKER)
_MASK: dict[type[Data], Evolve[Mask]] = {**_ANY_GEAR, MaskRegistered: _entered, IncidentRecorded: _impounded}
MASK: Fold[Mask] = Fold("equipment.mask", "mask", Mask, _MASK)
_BOTTLE: dict[type[Data], Evolve[Bottle]] = {
    **_ANY_GEAR,
    BottleRegistered: _bottle_registered,
    BottleRequalified: _requalified,
}
BOTTLE: Fold[Bottle] = Fold("equipment.bottle", "bottle", Bottle, _BOTTLE)
