"""Clearance: may this player, with what he carries, enter this field now? `cleared`, or `not cleared` with every reason.

Each rule stands with the service whose rule it is; here they are only asked, all of them, so that a player hears everything at once.
In doubt the answer is `not cleared`, and says why. Whoever stands at the gate still looks: mask on, barrel covered, sober.
"""

from collections.abc import Callable
from typing import Any

from msgspec import Struct

from contracts.envelope import Data, Reason, Recorded, Unknown
from contracts.games import FieldConfigured
from contracts.reasons import reason
from services.clearance import presence
from services.clearance.field import FIELD, FIELDS
from services.clearance.presence import PRESENCE
from services.core.command import Moment
from services.core.fold import Evolve, Fold, Given, Subject
from services.core.rules import RULES
from services.discipline import model as discipline
from services.discipline.sit_outs import Stops
from services.discipline.states import RECORD, ROTATION, Rotation
from services.duty.checks import CHECKS
from services.duty.states import FIELD_STAFF, OPENED_DAY, PARK_STAFF
from services.equipment import model as equipment
from services.equipment.kit import KIT, carried
from services.equipment.states import BOTTLE, MARKER, MASK
from services.incidents import model as incidents
from services.incidents.states import FITNESS
from services.registration import guardians
from services.registration import model as registration
from services.registration.money import PURSE
from services.registration.persons import PERSON
from services.registration.states import PLAYER
from services.velocity import model as velocity
from services.velocity.limits import of_field
from services.velocity.states import BENCH, CHRONO, WEATHER


class Unread(Struct, frozen=True):
    """Whether a subject's story holds an event that this software cannot read."""

    found: bool = False


def _unreadable(_: Unread, __: Recorded[Unknown]) -> Unread:
    return Unread(found=True)


_UNREAD: dict[type[Data], Evolve[Unread]] = {Unknown: _unreadable}
UNREAD: dict[str, Fold[Unread]] = {
    prefix: Fold(f"clearance.unread.{prefix}", prefix, lambda _: Unread(), _UNREAD)
    for prefix in ("player", "person", "marker", "mask", "bottle", "chrono", "rotation", "park")
}

FOLDS: tuple[Fold[Any], ...] = (
    RULES,
    PLAYER,
    PERSON,
    PURSE,
    KIT,
    MARKER,
    MASK,
    BOTTLE,
    BENCH,
    CHRONO,
    WEATHER,
    FITNESS,
    RECORD,
    ROTATION,
    PRESENCE,
    FIELD,
    FIELDS,
    FIELD_STAFF,
    PARK_STAFF,
    OPENED_DAY,
    CHECKS,
    *UNREAD.values(),
)
"""Everything that a clearance rests on."""


def subjects(player: str, field: str) -> Callable[[Given], set[Subject]]:
    """What to read to judge a player for a field: he himself first, then what he carries, then what measured it."""

    def reads(given: Given) -> set[Subject]:
        wanted: set[Subject] = {(FIELD, field), (WEATHER, "")}
        wanted |= {(fold, player) for fold in (PLAYER, PURSE, KIT, RECORD, FITNESS, PRESENCE)}
        person = given.of(PLAYER, player).person
        if person:
            wanted.add((PERSON, person))
        wanted |= _answering(given, player)
        wanted |= carried(given.of(KIT, player))
        wanted |= played_in(given, player)
        for marker in given.of(KIT, player).markers:
            wanted.add((BENCH, marker))
            wanted |= {(CHRONO, one.chrono) for one in given.of(BENCH, marker).tests}
        return wanted | {(UNREAD[fold.prefix], subject) for fold, subject in wanted if fold.prefix in UNREAD}

    return reads


def reasons(given: Given, player: str, field: str, moment: Moment, day_pass: str | None = None) -> list[Reason]:
    """Every reason why a player is not cleared for a field, himself and what he carries; empty means cleared.

    What the field itself has against anybody (its hold, its inspection, its staff) is asked of the field.
    """
    if given.of(RULES, "").unreadable or _anything_unread(given, player):
        return [reason("record_not_understood")]
    limits = given.of(FIELD, field).configured
    if limits is None:
        return [reason("unknown_field", f"field:{field}")]
    who = given.of(PLAYER, player)
    kit = given.of(KIT, player)
    person, purse = given.of(PERSON, who.person), given.of(PURSE, player)
    found = registration.reasons(who, person, purse, adults_gone(given, player), limits.age_floor, moment, day_pass)
    found += incidents.reasons(given.of(FITNESS, player))
    rotations, stops = rotations_of(given, player)
    found += discipline.reasons(given.of(RECORD, player), rotations, moment, stops)
    found += presence.reasons(given.of(PRESENCE, player))
    found += equipment.reasons(
        kit,
        [given.of(MARKER, name) for name in kit.markers],
        [given.of(MASK, name) for name in kit.masks],
        [given.of(BOTTLE, name) for name in kit.bottles],
        who.part,
        limits.calibres,
        limits.firing_modes,
        moment,
    )
    for marker in kit.markers:
        found += _velocity(given, marker, limits, who.here_since, moment)
    return found


def _adults(given: Given, player: str) -> dict[str, str | None]:
    """Every adult who may have to answer for a child, with the player that he is himself on that day."""
    who = given.of(PLAYER, player)
    named = guardians.adults(who, given.of(PERSON, who.person))
    return {adult: given.of(PERSON, adult).player_on(who.day) for adult in named}


def _answering(given: Given, player: str) -> set[Subject]:
    """Those adults, and their own day: one who has left the park answers for nobody."""
    adults = _adults(given, player)
    return {(PERSON, adult) for adult in adults} | {(PLAYER, himself) for himself in adults.values() if himself}


def adults_gone(given: Given, player: str) -> frozenset[str]:
    """Those of a child's adults who have left the park."""
    adults = _adults(given, player)
    return frozenset(adult for adult, himself in adults.items() if himself and given.of(PLAYER, himself).left)


def played_in(given: Given, player: str) -> set[Subject]:
    """The rotations that a player's sit-outs bind to, and the fields of their continuous games."""
    rotations = given.of(RECORD, player).rotation_ids
    fields = {field for name in rotations for field in given.of(ROTATION, name).continuous_fields}
    return {(ROTATION, name) for name in rotations} | {(FIELD, field) for field in fields}


def rotations_of(given: Given, player: str) -> tuple[dict[str, Rotation], Stops]:
    """The same rotations as discipline asks for them, with the times at which play was stopped on those fields."""
    rotations = {name: given.of(ROTATION, name) for name in given.of(RECORD, player).rotation_ids}
    fields = {field for rotation in rotations.values() for field in rotation.continuous_fields}
    stops = {
        field: [(hold.asked[0], hold.lifted[0] if hold.lifted else None) for hold in given.of(FIELD, field).holds]
        for field in fields
    }
    return rotations, stops


def _velocity(given: Given, marker: str, field: FieldConfigured, since: Any, moment: Moment) -> list[Reason]:
    bench = given.of(BENCH, marker)
    chronos = {one.chrono: given.of(CHRONO, one.chrono) for one in bench.tests}
    return velocity.reasons(bench, chronos, of_field(field), given.of(WEATHER, ""), moment, since)


def _anything_unread(given: Given, player: str) -> bool:
    read = subjects(player, "")(given)
    return any(given.of(fold, subject).found for fold, subject in read if fold in UNREAD.values())
