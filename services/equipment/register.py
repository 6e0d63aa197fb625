"""The register of gear: what the park hires out, what players bring, and how long each bottle's test holds."""

from collections.abc import Iterable

from contracts.envelope import Data
from contracts.equipment import (
    BottleRegistered,
    BottleRequalified,
    MarkerRegistered,
    MaskRegistered,
    RegisterBottle,
    RegisterMarker,
    RegisterMask,
    RequalifyBottle,
)
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given
from services.equipment.kit import known_player
from services.equipment.states import BOTTLE, MARKER, MASK, Gear


def _enter(gear: Gear, owner: str | None, given: Given, moment: Moment) -> None:
    """Gear is entered once. A player's own that comes back on a later day is entered anew, with its owner of that day."""
    if owner is not None:
        known_player(given, owner)
    entered = gear.registered_on
    comes_back = gear.owner is not None and entered is not None and entered < moment.day
    must_be_new(entered is not None and not comes_back, gear.tag)


def register_marker(command: RegisterMarker, given: Given, moment: Moment) -> Iterable[Data]:
    _enter(given.of(MARKER, command.marker), command.owner, given, moment)
    return [
        MarkerRegistered(
            marker=command.marker,
            owner=command.owner,
            model=command.model,
            calibre=command.calibre,
            firing_mode=command.firing_mode,
            gas=command.gas,
        )
    ]


def register_mask(command: RegisterMask, given: Given, moment: Moment) -> Iterable[Data]:
    _enter(given.of(MASK, command.mask), command.owner, given, moment)
    return [MaskRegistered(mask=command.mask, owner=command.owner, model=command.model)]


def register_bottle(command: RegisterBottle, given: Given, moment: Moment) -> Iterable[Data]:
    _enter(given.of(BOTTLE, command.bottle), command.owner, given, moment)
    return [BottleRegistered(bottle=command.bottle, owner=command.owner, gas=command.gas, test_due=command.test_due)]


def requalify_bottle(command: RequalifyBottle, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(BOTTLE, command.bottle).registered_on, f"bottle:{command.bottle}")
    return [BottleRequalified(bottle=command.bottle, test_due=command.test_due)]
