"""What the gear counter's page shows of a player and of the piece in hand: the counter's own rules, asked before anything is done."""

from collections.abc import Iterable
from typing import Any, Final

from msgspec.structs import replace

from contracts.envelope import Data, Reason, Recorded
from contracts.gear import Counter, Customer, Piece
from contracts.registration import PlayerRegistered
from services.core.command import Moment
from services.core.fold import Evolve, Fold, Given, Subject
from services.equipment.kit import KIT, Kit, carried, known_player
from services.equipment.model import not_inspected, not_issuable, unsuitable, unusable
from services.equipment.states import BOTTLE, MARKER, MASK, Bottle, Gear, Marker

KINDS: Final[tuple[Fold[Any], ...]] = (MARKER, MASK, BOTTLE)
_WORN: dict[type[Data], Evolve[int]] = {PlayerRegistered: lambda _, event: _number(event)}
WORN: Fold[int] = Fold("equipment.worn", "player", lambda _: 0, _WORN)
"""The number on a player's armband."""


def _number(event: Recorded[PlayerRegistered]) -> int:
    return event.data.armband


def holder_of(tag: str, given: Given) -> str | None:
    """Who has the piece with this tag."""
    fold = next(fold for fold in KINDS if fold.prefix == tag.partition(":")[0])
    gear: Gear = given.of(fold, fold.subject(tag))
    return gear.holder


def subjects(player: str | None, code: str | None, given: Given) -> set[Subject]:
    """What an answer rests on: the player and all that he carries, and whatever bears the code."""
    wanted: set[Subject] = set() if code is None else {(fold, code) for fold in KINDS}
    if player is None:
        return wanted
    him: set[Subject] = {(KIT, player), (WORN, player)}
    return wanted | him | carried(given.of(KIT, player))


def view(  # noqa: PLR0913, PLR0917 - a place in the log, a person, a piece, a moment
    park: str, epoch: int, player: str | None, code: str | None, given: Given, moment: Moment
) -> Counter:
    """The whole answer; raises UnknownSubject for a player whom the record does not know."""
    kit = None if player is None else known_player(given, player)
    bearing: list[Gear] = [] if code is None else [given.of(fold, code) for fold in KINDS]
    return Counter(
        park=park,
        epoch=epoch,
        position=moment.position,
        as_of=moment.now,
        day=moment.day,
        time_zone=moment.rules.time_zone,
        customer=None if kit is None else _customer(kit, given, moment),
        code=code,
        in_hand=tuple(
            _piece(gear, (*not_issuable(gear, player or "", moment.day), *_ill_matched(gear, kit, given)))
            for gear in bearing
            if gear.registered_on is not None
        ),
    )


def _customer(kit: Kit, given: Given, moment: Moment) -> Customer:
    gear = _carried(kit, given)
    amiss = unsuitable(_bottles(gear), _markers(gear))
    return Customer(
        player=kit.player,
        armband=given.of(WORN, kit.player),
        gear=tuple(
            _piece(one, (*unusable(one, kit.player, moment.day), *not_inspected(one, moment.day), *_about(one, amiss)))
            for one in gear
        ),
    )


def _ill_matched(gear: Gear, kit: Kit | None, given: Given) -> Iterable[Reason]:
    """Whether it would suit what the player carries already: the gas of bottle and marker."""
    if kit is None or gear.KIND == "mask":
        return ()
    together = [*(one for one in _carried(kit, given) if one.tag != gear.tag), gear]
    return unsuitable(_bottles(together), _markers(together))


def _carried(kit: Kit, given: Given) -> list[Gear]:
    return [given.of(fold, name) for fold in KINDS for name in sorted(n for f, n in carried(kit) if f is fold)]


def _about(gear: Gear, found: Iterable[Reason]) -> Iterable[Reason]:
    return (one for one in found if one.subject == gear.tag)


def _bottles(gear: Iterable[Gear]) -> list[Bottle]:
    return [one for one in gear if isinstance(one, Bottle)]


def _markers(gear: Iterable[Gear]) -> list[Marker]:
    return [one for one in gear if isinstance(one, Marker)]


def _piece(gear: Gear, reasons: tuple[Reason, ...]) -> Piece:
    piece = Piece(
        kind=gear.KIND,  # type: ignore[arg-type]
        name=gear.name,
        owner=gear.owner,
        holder=gear.holder,
        since=gear.last_move.place[0] if gear.last_move else None,
        faults=tuple(sorted({fault for _, fault in gear.faults})),
        inspected_at=gear.inspection.place[0] if gear.inspection else None,
        reasons=reasons,
    )
    if isinstance(gear, Marker):
        return replace(piece, calibre=gear.calibre, firing_mode=gear.firing_mode, gas=gear.gas)
    return replace(piece, gas=gear.gas, test_due=gear.test_due) if isinstance(gear, Bottle) else piece
