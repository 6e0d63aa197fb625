"""What was recorded at the gear counter, in words."""

from typing import Protocol

from contracts.equipment import (
    BottleRegistered,
    BottleRequalified,
    GearInspected,
    GearIssued,
    GearQuarantined,
    GearReleased,
    GearReturned,
    IssueRefused,
    MarkerHandedOver,
    MarkerRegistered,
    MarkerSwapped,
    MaskRegistered,
)
from services.audit.words.scene import Scene, Words, because, begun, spoken, together


class _Gear(Protocol):
    @property
    def marker(self) -> str | None: ...
    @property
    def mask(self) -> str | None: ...
    @property
    def bottle(self) -> str | None: ...


def _gear(data: _Gear) -> str:
    named = (("marker", data.marker), ("mask", data.mask), ("bottle", data.bottle))
    return together(f"{kind} {name}" for kind, name in named if name) if any(name for _, name in named) else "no gear"


def _whose(owner: str | None) -> str:
    return f"player {owner}'s own" if owner else "for hire"


def _inspected(data: GearInspected, _: Scene) -> str:
    cover = ""
    if data.marker:
        cover = " A barrel cover that fits was seen." if data.barrel_cover else " No barrel cover was seen."
    if data.faults:
        return f"{begun(_gear(data))} of player {data.player} failed inspection: {together(map(spoken, data.faults))}.{cover}"
    return f"{begun(_gear(data))} of player {data.player} passed inspection.{cover}"


WORDS: Words = {
    MarkerRegistered: lambda d, _: (
        f"Marker {d.marker} was entered: {d.model}, calibre {d.calibre}, {d.firing_mode}, {d.gas}; {_whose(d.owner)}."
    ),
    MaskRegistered: lambda d, _: f"Mask {d.mask} was entered: {d.model}; {_whose(d.owner)}.",
    BottleRegistered: lambda d, _: (
        f"Bottle {d.bottle} was entered: {d.gas}, in test until {d.test_due:%Y-%m-%d}; {_whose(d.owner)}."
    ),
    BottleRequalified: lambda d, _: f"Bottle {d.bottle} is in test until {d.test_due:%Y-%m-%d}, read off the bottle.",
    GearIssued: lambda d, _: f"{begun(_gear(d))} went to player {d.player}.",
    IssueRefused: lambda d, _: because(f"{begun(_gear(d))} was not handed to player {d.player}", d.reasons),
    GearInspected: _inspected,
    MarkerHandedOver: lambda d, _: (
        f"Marker {d.marker} passed from player {d.giver} to player {d.taker}; its velocity test goes with it."
    ),
    MarkerSwapped: lambda d, _: (
        f"Player {d.player} gave marker {d.returned} back and was given marker {d.marker} instead."
    ),
    GearReturned: lambda d, _: f"Player {d.player} gave back {_gear(d)}.",
    GearQuarantined: lambda d, _: f"{begun(_gear(d))} was taken out of use: {spoken(d.fault)}.",
    GearReleased: lambda d, _: f"{begun(_gear(d))} was brought back into use.",
}
