"""The gear counter: its commands and the subjects that each rests on, and its page."""

from collections.abc import Iterable

from contracts.equipment import (
    HandOverMarker,
    InspectGear,
    IssueGear,
    QuarantineGear,
    RegisterBottle,
    RegisterMarker,
    RegisterMask,
    ReleaseGear,
    RequalifyBottle,
    ReturnGear,
    SwapMarker,
)
from services.core.command import Handler
from services.core.fold import Given, Subject
from services.core.following import bells
from services.core.service import Service
from services.equipment import counter, register, routes
from services.equipment.kit import KIT, carried
from services.equipment.states import BOTTLE, MARKER, MASK


def _entry(gear: Subject, owner: str | None) -> set[Subject]:
    return {gear} if owner is None else {gear, (KIT, owner)}


def _pieces(command: counter.Pieces, _: Given) -> Iterable[Subject]:
    return counter.named(command)


def _of_player(command: InspectGear | IssueGear | ReturnGear, _: Given) -> set[Subject]:
    return {(KIT, command.player), *counter.named(command)}


def _issue(command: IssueGear, given: Given) -> set[Subject]:
    return _of_player(command, given) | carried(given.of(KIT, command.player))


SERVICE = Service(
    "equipment",
    (
        Handler(RegisterMarker, lambda c, _: _entry((MARKER, c.marker), c.owner), register.register_marker),
        Handler(RegisterMask, lambda c, _: _entry((MASK, c.mask), c.owner), register.register_mask),
        Handler(RegisterBottle, lambda c, _: _entry((BOTTLE, c.bottle), c.owner), register.register_bottle),
        Handler(RequalifyBottle, lambda c, _: {(BOTTLE, c.bottle)}, register.requalify_bottle),
        Handler(IssueGear, _issue, counter.issue),
        Handler(InspectGear, _of_player, counter.inspect),
        Handler(HandOverMarker, lambda c, _: {(MARKER, c.marker), (KIT, c.giver), (KIT, c.taker)}, counter.hand_over),
        Handler(SwapMarker, lambda c, _: {(KIT, c.player), (MARKER, c.returned), (MARKER, c.marker)}, counter.swap),
        Handler(ReturnGear, _of_player, counter.take_back),
        Handler(QuarantineGear, _pieces, counter.quarantine),
        Handler(ReleaseGear, _pieces, counter.release),
    ),
    routes.ROUTES,
    (bells,),
)
