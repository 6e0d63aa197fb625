"""What the gear counter remembers of each player: that he is here, and what he carries."""

from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.equipment import (
    BottleRegistered,
    GearIssued,
    GearReturned,
    MarkerHandedOver,
    MarkerRegistered,
    MarkerSwapped,
    MaskRegistered,
)
from contracts.registration import PlayerRegistered
from services.core.command import must_know
from services.core.fold import Evolve, Fold, Given, Subject
from services.equipment.custody import Place
from services.equipment.states import BOTTLE, MARKER, MASK


class Touch(Struct, frozen=True):
    """The latest time that a piece of gear came to the player or went from him."""

    tag: str
    place: Place
    carried: bool


class Kit(Struct, frozen=True):
    """A player and his gear. Whether he is its only holder, the gear's own story says."""

    player: str
    known: bool = False
    touches: tuple[Touch, ...] = ()

    def _carried(self, kind: str) -> tuple[str, ...]:
        tags = (touch.tag.partition(":") for touch in self.touches if touch.carried)
        return tuple(name for prefix, _, name in tags if prefix == kind)

    @property
    def markers(self) -> tuple[str, ...]:
        return self._carried("marker")

    @property
    def masks(self) -> tuple[str, ...]:
        return self._carried("mask")

    @property
    def bottles(self) -> tuple[str, ...]:
        return self._carried("bottle")


def carried(kit: Kit) -> set[Subject]:
    """The subjects to read for everything that a player carries."""
    return {
        *((MARKER, name) for name in kit.markers),
        *((MASK, name) for name in kit.masks),
        *((BOTTLE, name) for name in kit.bottles),
    }


def _touched(kit: Kit, event: Recorded[Any], tag: str, *, carried: bool) -> Kit:
    touch = Touch(tag, (event.occurred_at, event.position), carried)
    if any(one.tag == tag and one.place > touch.place for one in kit.touches):
        return kit
    return replace(kit, touches=(*(one for one in kit.touches if one.tag != tag), touch))


def _all_touched(kit: Kit, event: Recorded[Any], *, carried: bool) -> Kit:
    """Every piece of gear that the event names, whatever its kind."""
    for kind in ("marker", "mask", "bottle"):
        name = getattr(event.data, kind, None)
        if name is not None:
            kit = _touched(kit, event, f"{kind}:{name}", carried=carried)
    return kit


def _came(kit: Kit, event: Recorded[Any]) -> Kit:
    return _all_touched(kit, event, carried=True)


def _went(kit: Kit, event: Recorded[Any]) -> Kit:
    return _all_touched(kit, event, carried=False)


def _player_registered(kit: Kit, _: Recorded[PlayerRegistered]) -> Kit:
    return replace(kit, known=True)


def _handed_over(kit: Kit, event: Recorded[MarkerHandedOver]) -> Kit:
    return _touched(kit, event, f"marker:{event.data.marker}", carried=event.data.taker == kit.player)


def _swapped(kit: Kit, event: Recorded[MarkerSwapped]) -> Kit:
    kit = _touched(kit, event, f"marker:{event.data.returned}", carried=False)
    return _touched(kit, event, f"marker:{event.data.marker}", carried=True)


_KIT: dict[type[Data], Evolve[Kit]] = {
    PlayerRegistered: _player_registered,
    MarkerRegistered: _came,
    MaskRegistered: _came,
    BottleRegistered: _came,
    GearIssued: _came,
    GearReturned: _went,
    MarkerHandedOver: _handed_over,
    MarkerSwapped: _swapped,
}
KIT: Fold[Kit] = Fold("equipment.kit", "player", Kit, _KIT)


def known_player(given: Given, player: str) -> Kit:
    """The kit of a player who is registered; raises UnknownSubject when he is not."""
    kit = given.of(KIT, player)
    must_know(kit.known, f"player:{player}")
    return kit
