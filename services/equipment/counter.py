"""The gear counter: issuing, inspecting, passing on, taking back and taking out of use. What may be used is said in `model`."""

from collections.abc import Iterable
from typing import Any, Final

from contracts.envelope import Data, Reason
from contracts.equipment import (
    GearInspected,
    GearIssued,
    GearQuarantined,
    GearReleased,
    GearReturned,
    HandOverMarker,
    InspectGear,
    IssueGear,
    IssueRefused,
    MarkerHandedOver,
    MarkerSwapped,
    QuarantineGear,
    ReleaseGear,
    ReturnGear,
    SwapMarker,
)
from contracts.problems import NotAllowed, NotInThatState, RuleForbids
from services.core.command import Moment, must_know
from services.core.fold import Fold, Given, Subject
from services.equipment.kit import Kit, carried, known_player
from services.equipment.model import not_issuable, unsuitable, unusable
from services.equipment.states import BOTTLE, MARKER, MASK, Bottle, Gear, Marker

NAMED: Final[tuple[tuple[str, Fold[Any]], ...]] = (("marker", MARKER), ("mask", MASK), ("bottle", BOTTLE))
Pieces = InspectGear | IssueGear | QuarantineGear | ReleaseGear | ReturnGear
"""Commands that name a marker, a mask or a bottle, or several of them."""


def named(command: Pieces) -> list[Subject]:
    """The gear that a command names."""
    return [(fold, getattr(command, kind)) for kind, fold in NAMED if getattr(command, kind) is not None]


def _pieces(command: Pieces, given: Given) -> list[Gear]:
    """The gear that a command names, all of it known. Raises RuleForbids when it names none."""
    pieces: list[Gear] = [given.of(fold, name) for fold, name in named(command)]
    if not pieces:
        raise RuleForbids("It names no gear. Name a marker, a mask or a bottle, or several of them.", where="$")
    for gear in pieces:
        must_know(gear.registered_on, gear.tag)
    return pieces


def _must_be_latest(gear: Gear, moment: Moment) -> None:
    """Gear cannot be given out for a time before it is known to have moved."""
    if gear.moves and gear.moves[-1].place[0] > moment.occurred_at:
        raise NotInThatState(
            f"{gear.KIND.capitalize()} {gear.name} changed hands at {gear.moves[-1].place[0].isoformat()}, after the time claimed here. "
            "See who has it, and send that from now.",
            where="$.occurred_at",
        )


def issue(command: IssueGear, given: Given, moment: Moment) -> Iterable[Data]:
    """All that is asked for goes over the counter, or nothing does and the refusal names every reason."""
    kit = known_player(given, command.player)
    found: list[Reason] = []
    for gear in _pieces(command, given):
        _must_be_latest(gear, moment)
        found += not_issuable(gear, command.player, moment.day)
    found += _unsuitable_after(command, kit, given)
    if found:
        return [
            IssueRefused(
                basis=moment.basis,
                reasons=tuple(found),
                player=command.player,
                marker=command.marker,
                mask=command.mask,
                bottle=command.bottle,
            )
        ]
    return [
        GearIssued(
            basis=moment.basis,
            player=command.player,
            marker=command.marker,
            mask=command.mask,
            bottle=command.bottle,
        )
    ]


def _unsuitable_after(command: IssueGear, kit: Kit, given: Given) -> list[Reason]:
    """Bottles that would suit none of the markers, once this issue joined what the player carries."""
    if command.marker is None and command.bottle is None:
        return []
    subjects = sorted({*named(command), *carried(kit)}, key=lambda subject: subject[1])
    gear = [given.of(*subject) for subject in subjects]
    return unsuitable(
        [one for one in gear if isinstance(one, Bottle)], [one for one in gear if isinstance(one, Marker)]
    )


def inspect(command: InspectGear, given: Given, _: Moment) -> Iterable[Data]:
    known_player(given, command.player)
    _pieces(command, given)
    if command.barrel_cover and command.marker is None:
        raise RuleForbids("A barrel cover is inspected on its marker. Name the marker.", where="$.marker")
    if command.barrel_cover and "cover_missing" in command.faults:
        raise RuleForbids("The barrel cover cannot be both seen and missing. Send one of the two.", where="$.faults")
    return [
        GearInspected(
            player=command.player,
            marker=command.marker,
            mask=command.mask,
            bottle=command.bottle,
            barrel_cover=command.barrel_cover,
            faults=command.faults,
        )
    ]


def _must_hold(marker: Marker, player: str) -> None:
    must_know(marker.registered_on, marker.tag)
    if marker.holder != player:
        raise NotInThatState(
            f"Player {player} does not hold marker {marker.name}: the record has it "
            f"{f'with player {marker.holder}' if marker.holder else 'at the counter'}. Scan the marker he does hold, or issue this one first.",
            where=marker.tag,
        )


def _must_be_fit(found: list[Reason], marker: Marker) -> None:
    if found:
        sentences = " ".join(one.sentence for one in found)
        raise NotInThatState(f"Marker {marker.name} cannot be given out. {sentences}", where=marker.tag)


def hand_over(command: HandOverMarker, given: Given, moment: Moment) -> Iterable[Data]:
    """Only its holder passes a marker on, only to someone else, and only one that is fit for use."""
    known_player(given, command.giver)
    known_player(given, command.taker)
    if command.giver == command.taker:
        raise RuleForbids("Giver and taker are the same player. Name the one who takes it.", where="$.taker")
    marker = given.of(MARKER, command.marker)
    _must_hold(marker, command.giver)
    _must_be_latest(marker, moment)
    _must_be_fit(unusable(marker, command.giver, moment.day), marker)
    return [MarkerHandedOver(marker=command.marker, giver=command.giver, taker=command.taker)]


def swap(command: SwapMarker, given: Given, moment: Moment) -> Iterable[Data]:
    """The marker he holds goes back to the counter and another one out, in one go: both or neither."""
    known_player(given, command.player)
    if command.returned == command.marker:
        raise RuleForbids("A marker cannot be swapped for itself. Name the other one.", where="$.marker")
    marker = given.of(MARKER, command.marker)
    must_know(marker.registered_on, marker.tag)
    returned = given.of(MARKER, command.returned)
    _must_hold(returned, command.player)
    _must_be_latest(returned, moment)
    _must_be_latest(marker, moment)
    _must_be_fit(not_issuable(marker, command.player, moment.day), marker)
    return [MarkerSwapped(player=command.player, returned=command.returned, marker=command.marker)]


def take_back(command: ReturnGear, given: Given, _: Moment) -> Iterable[Data]:
    known_player(given, command.player)
    _pieces(command, given)
    return [GearReturned(player=command.player, marker=command.marker, mask=command.mask, bottle=command.bottle)]


def quarantine(command: QuarantineGear, given: Given, _: Moment) -> Iterable[Data]:
    _pieces(command, given)
    return [GearQuarantined(marker=command.marker, mask=command.mask, bottle=command.bottle, fault=command.fault)]


def release(command: ReleaseGear, given: Given, moment: Moment) -> Iterable[Data]:
    """Gear out of use comes back by someone's word. What was impounded after an incident is evidence: a manager's word."""
    for gear in _pieces(command, given):
        if not gear.faults:
            raise NotInThatState(
                f"{gear.KIND.capitalize()} {gear.name} is not in quarantine. Check the name.", where=gear.tag
            )
        if "manager" not in moment.roles and any(fault == "impounded" for _, fault in gear.faults):
            raise NotAllowed(
                f"{gear.KIND.capitalize()} {gear.name} is impounded as evidence. Ask a manager to release it.",
                where=gear.tag,
            )
    return [GearReleased(marker=command.marker, mask=command.mask, bottle=command.bottle)]
