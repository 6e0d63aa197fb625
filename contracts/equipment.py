"""Equipment: markers, masks and bottles, who holds them, and what was found wrong with them."""

from datetime import date
from typing import Annotated, ClassVar, Literal

from msgspec import Meta

from contracts.envelope import Command, Data, Grant, Refusal
from contracts.words import BottleId, Calibre, Day, FiringMode, Gas, MarkerId, MaskId, PlayerId, Role

GEAR: frozenset[Role] = frozenset({"gear", "manager"})
GEAR_AND_CHRONO: frozenset[Role] = frozenset({"gear", "chrono", "staging", "manager"})
ON_THE_GROUND: frozenset[Role] = frozenset(
    {"gear", "chrono", "staging", "referee", "head_referee", "first_aider", "manager"}
)
Model = Annotated[
    str,
    Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,39}$(?!\n)", description="The fleet's own word for the model."),
]
Fault = Literal[
    "lens_scratched", "lens_seal", "strap", "foam", "cover_missing", "leak", "jam", "trigger", "regulator",
    "out_of_test", "valve", "visible_damage", "over_limit", "impounded", "other",
]  # fmt: skip


class MarkerRegistered(Data, frozen=True, kw_only=True):
    marker: MarkerId
    owner: PlayerId | None
    model: Model
    calibre: Calibre
    firing_mode: FiringMode
    gas: Gas


class RegisterMarker(Command, frozen=True, kw_only=True):
    """Enter a marker: a hired one without an owner, a player's own with him as its owner and holder.

    A player's own is entered anew on each day he brings it.
    """

    ROLES: ClassVar[frozenset[Role]] = GEAR
    marker: MarkerId
    owner: PlayerId | None = None
    model: Model
    calibre: Calibre = ".68"
    firing_mode: FiringMode = "semi"
    gas: Gas = "air"


class MaskRegistered(Data, frozen=True, kw_only=True):
    mask: MaskId
    owner: PlayerId | None
    model: Model


class RegisterMask(Command, frozen=True, kw_only=True):
    """Enter a mask: a hired one without an owner, a player's own, on each day he brings it, with him as its owner and holder."""

    ROLES: ClassVar[frozenset[Role]] = GEAR
    mask: MaskId
    owner: PlayerId | None = None
    model: Model


class BottleRegistered(Data, frozen=True, kw_only=True):
    bottle: BottleId
    owner: PlayerId | None
    gas: Gas
    test_due: date


class RegisterBottle(Command, frozen=True, kw_only=True):
    """Enter a bottle with the last day of its test, as its stamp and local rules say; a player's own on each day he brings it."""

    ROLES: ClassVar[frozenset[Role]] = GEAR
    bottle: BottleId
    owner: PlayerId | None = None
    gas: Gas = "air"
    test_due: Day


class BottleRequalified(Data, frozen=True, kw_only=True):
    bottle: BottleId
    test_due: date


class RequalifyBottle(Command, frozen=True, kw_only=True):
    """Record a new test date that was read off the bottle."""

    ROLES: ClassVar[frozenset[Role]] = GEAR
    FACT: ClassVar[bool] = True
    bottle: BottleId
    test_due: Day


class GearIssued(Grant, frozen=True, kw_only=True):
    player: PlayerId
    marker: MarkerId | None
    mask: MaskId | None
    bottle: BottleId | None


class IssueRefused(Refusal, frozen=True, kw_only=True):
    player: PlayerId
    marker: MarkerId | None
    mask: MaskId | None
    bottle: BottleId | None


class IssueGear(Command, frozen=True, kw_only=True):
    """Hand a marker, a mask or a bottle to a player. One holder at a time, nothing in quarantine or failed, no bottle out of test."""

    ROLES: ClassVar[frozenset[Role]] = GEAR
    player: PlayerId
    marker: MarkerId | None = None
    mask: MaskId | None = None
    bottle: BottleId | None = None


class GearInspected(Data, frozen=True, kw_only=True):
    player: PlayerId
    marker: MarkerId | None
    mask: MaskId | None
    bottle: BottleId | None
    barrel_cover: bool
    faults: tuple[Fault, ...]


class InspectGear(Command, frozen=True, kw_only=True):
    """Record the inspection of a player's own marker with its barrel cover, mask or bottle. Any fault fails what was inspected."""

    ROLES: ClassVar[frozenset[Role]] = GEAR_AND_CHRONO
    FACT: ClassVar[bool] = True
    player: PlayerId
    marker: MarkerId | None = None
    mask: MaskId | None = None
    bottle: BottleId | None = None
    barrel_cover: bool = False
    """Whether a barrel cover that fits was seen."""
    faults: tuple[Fault, ...] = ()


class MarkerHandedOver(Data, frozen=True, kw_only=True):
    marker: MarkerId
    giver: PlayerId
    taker: PlayerId


class HandOverMarker(Command, frozen=True, kw_only=True):
    """Pass a marker from one player to another: its test goes with it."""

    ROLES: ClassVar[frozenset[Role]] = GEAR_AND_CHRONO
    marker: MarkerId
    giver: PlayerId
    taker: PlayerId


class MarkerSwapped(Data, frozen=True, kw_only=True):
    player: PlayerId
    returned: MarkerId
    marker: MarkerId


class SwapMarker(Command, frozen=True, kw_only=True):
    """Take a marker back and issue another in one touch. The other one's test, not the old one's, counts from then on."""

    ROLES: ClassVar[frozenset[Role]] = GEAR_AND_CHRONO | {"referee", "head_referee"}
    player: PlayerId
    returned: MarkerId
    marker: MarkerId


class GearReturned(Data, frozen=True, kw_only=True):
    player: PlayerId
    marker: MarkerId | None
    mask: MaskId | None
    bottle: BottleId | None


class ReturnGear(Command, frozen=True, kw_only=True):
    """Record gear that came back, or a player's own that was left at the counter."""

    ROLES: ClassVar[frozenset[Role]] = GEAR
    FACT: ClassVar[bool] = True
    player: PlayerId
    marker: MarkerId | None = None
    mask: MaskId | None = None
    bottle: BottleId | None = None


class GearQuarantined(Data, frozen=True, kw_only=True):
    marker: MarkerId | None
    mask: MaskId | None
    bottle: BottleId | None
    fault: Fault


class QuarantineGear(Command, frozen=True, kw_only=True):
    """Take gear out of use until someone releases it."""

    ROLES: ClassVar[frozenset[Role]] = ON_THE_GROUND
    FACT: ClassVar[bool] = True
    marker: MarkerId | None = None
    mask: MaskId | None = None
    bottle: BottleId | None = None
    fault: Fault


class GearReleased(Data, frozen=True, kw_only=True):
    marker: MarkerId | None
    mask: MaskId | None
    bottle: BottleId | None


class ReleaseGear(Command, frozen=True, kw_only=True):
    """Bring gear back into use after repair or inspection. A marker repaired must be tested anew; what was impounded a manager releases."""

    ROLES: ClassVar[frozenset[Role]] = GEAR
    marker: MarkerId | None = None
    mask: MaskId | None = None
    bottle: BottleId | None = None
