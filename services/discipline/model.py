"""Discipline: what the cautions against a player come to, who may caution for what, whom it is about, and its withdrawal.

Everybody is treated alike: the first caution sits a player out for a game, the second of the day sends him home, physical contact
stands him down at once. Asking for help is never a violation. Nothing is deleted: a caution is withdrawn with a reason, and stays on
the record. A minor is never put off the park, but supervised until handed to a named adult. The referee on the field decides; local
law comes first.
"""

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Final

from contracts.discipline import (
    Caution,
    CautionRecorded,
    CautionResolved,
    CautionVoided,
    ResolveCaution,
    VoidCause,
    VoidCaution,
)
from contracts.envelope import Data, Reason
from contracts.problems import NotAllowed, NotInThatState, RuleForbids
from contracts.reasons import reason
from contracts.rules import Violation
from contracts.words import Role
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given
from services.core.rights import named
from services.core.withdrawing import Noted, must_be_withdrawable
from services.discipline.sit_outs import Stops
from services.discipline.slip import CATALOGUES, FIELD, GAME, SLIP, Slip
from services.discipline.standing import standing
from services.discipline.states import RECORD, Entry, Record, Rotation

ANYWHERE: Final[frozenset[Role]] = frozenset({"head_referee", "manager"})
"""They record any violation."""
MISTAKES: Final[frozenset[VoidCause]] = frozenset({"wrong_player", "recorded_twice", "entered_in_error"})
"""Slips of the hand, for which whoever recorded a caution may withdraw it himself."""
NO_STOPS: Final[Stops] = MappingProxyType({})


def reasons(record: Record, rotations: Mapping[str, Rotation], moment: Moment, stops: Stops = NO_STOPS) -> list[Reason]:
    """Every reason that discipline has against a player. An ejected one hears of that alone.

    `rotations` are those of `record.rotation_ids`; `stops` tells of each field of their `continuous_fields` when play was stopped:
    minutes on a field that it does not name serve nothing.
    """
    now = standing(record, rotations, moment, stops)
    if now.ejected:
        return [reason("ejected")]
    found = [
        reason("stood_down", f"caution:{one.caution}", "It may be a second entry of the same act.")
        for one in now.awaiting_ruling
    ]
    found += [
        reason("stood_down", f"caution:{one.caution}", f"It is for {one.violation}.")
        for one in now.awaiting_confirmation
        if one not in now.awaiting_ruling
    ]
    if now.sit_outs_owed:
        found.append(reason("sitting_out", None, _still_to_miss(record, now.sit_outs_owed)))
    return found


def _still_to_miss(record: Record, owed: int) -> str:
    if not record.rotations:
        return "Ask staging for a rotation: only its games count."
    return f"{owed} full game{'' if owed == 1 else 's'} of your rotation to go."


def caution(command: Caution, given: Given, moment: Moment) -> Iterable[Data]:
    """The violation weighs what it weighed when it happened."""
    must_be_new(given.of(SLIP, command.caution).happened, f"caution:{command.caution}")
    violation = _violation(command, given, moment)
    _must_be_entitled(violation, moment)
    if command.player is not None:
        must_know(given.of(RECORD, command.player).registered, f"player:{command.player}")
    elif None in {command.colour, command.armband, command.game}:
        raise RuleForbids(
            "It names nobody. Name the player, or the colour, armband number and game by which staging can find him.",
            where="$.player",
        )
    return [
        CautionRecorded(
            caution=command.caution,
            player=command.player,
            field=_field(command, given),
            game=command.game,
            colour=command.colour,
            armband=command.armband,
            violation=violation.code,
            weight=violation.weight,
        )
    ]


def _violation(command: Caution, given: Given, moment: Moment) -> Violation:
    """By the catalogue of when it happened; where that had no such entry, by the one in force."""
    then, now = given.of(CATALOGUES, "").at(moment.occurred_at), moment.rules.discipline.catalogue
    found = next((one for one in (*then, *now) if one.code == command.violation), None)
    if found is None:
        codes = ", ".join(one.code for one in now)
        raise RuleForbids(
            f"The catalogue has no violation {command.violation}. It has: {codes}. Use the nearest of these.",
            where="$.violation",
        )
    return found


def _must_be_entitled(violation: Violation, moment: Moment) -> None:
    entitled = {*violation.by, *ANYWHERE}
    if not moment.roles & entitled:
        raise NotAllowed(
            f"{violation.title!r} is recorded by {named(entitled)}; this device's key is for "
            f"{named(moment.roles)}. Tell one of them what you saw.",
            where="$.violation",
        )


def _field(command: Caution, given: Given) -> str | None:
    """The field it names, or that of its game; the two must agree."""
    if command.field is not None:
        must_know(given.of(FIELD, command.field).known, f"field:{command.field}")
    if command.game is None:
        return command.field
    game = given.of(GAME, command.game)
    must_know(game.known, f"game:{command.game}")
    if command.field not in {None, game.field}:
        raise RuleForbids(
            f"Game {command.game} is on field {game.field}, not on {command.field}. Name one of them only, or the right one.",
            where="$.field",
        )
    return game.field


def resolve(command: ResolveCaution, given: Given, _: Moment) -> Iterable[Data]:
    slip = given.of(SLIP, command.caution)
    must_know(slip.happened, f"caution:{command.caution}")
    must_know(given.of(RECORD, command.player).registered, f"player:{command.player}")
    if slip.player or slip.voided or slip.happened is None:
        state = "has been withdrawn" if slip.voided else f"is about player {slip.player} already"
        raise NotInThatState(
            f"Caution {command.caution} {state}. Where it names the wrong player, void it and record it anew.",
            where=f"caution:{command.caution}",
        )
    _must_wear(given.of(RECORD, command.player), slip)
    return [
        CautionResolved(
            caution=command.caution,
            player=command.player,
            violation=slip.violation,
            weight=slip.weight,
            field=slip.field,
            game=slip.game,
            happened_at=slip.happened,
        )
    ]


def _must_wear(record: Record, slip: Slip) -> None:
    """Whoever a caution by number is about wears that number."""
    if slip.armband not in {None, record.armband}:
        raise RuleForbids(
            f"Caution {slip.caution} is about armband {slip.armband}; player {record.player} wears {record.armband}. "
            "Name who wears that number. Where the number was misread, void the caution and record it anew.",
            where="$.player",
        )


def void(command: VoidCaution, given: Given, moment: Moment) -> Iterable[Data]:
    """Whoever recorded it may say for some minutes that he did so by mistake; whether it was right is for the head referee."""
    slip = given.of(SLIP, command.caution)
    _must_be_a_mistake_of_his_own(slip, command, moment)
    player = command.player or slip.player
    if player is None:
        must_know(slip.happened, f"caution:{command.caution}")
        withdrawn = slip.voided
    else:
        withdrawn = entry_about(given, player, command.caution).voided is not None
    if withdrawn:
        raise NotInThatState(
            f"Caution {command.caution} has been withdrawn already. Nothing is to be done.",
            where=f"caution:{command.caution}",
        )
    return [CautionVoided(caution=command.caution, player=player, cause=command.cause)]


def _must_be_a_mistake_of_his_own(slip: Slip, command: VoidCaution, moment: Moment) -> None:
    if moment.roles & ANYWHERE:
        return
    if command.cause not in MISTAKES:
        raise RuleForbids(
            f"Whether a caution was right is for the head referee or a manager. By whoever recorded it, one is withdrawn as {', '.join(sorted(MISTAKES))}.",
            where="$.cause",
        )
    if slip.happened is not None:
        noted = Noted(slip.device, slip.happened)
        must_be_withdrawable(noted, f"Caution {command.caution}", moment)


def entry_about(given: Given, player: str, caution: str) -> Entry:
    """A caution about a player. Raises UnknownSubject, or RuleForbids where it is about another."""
    must_know(given.of(RECORD, player).registered, f"player:{player}")
    found = given.of(RECORD, player).entry(caution)
    if found is not None:
        return found
    slip = given.of(SLIP, caution)
    must_know(slip.happened, f"caution:{caution}")
    about = f"about player {slip.player}" if slip.player else "about nobody yet: resolve it first"
    raise RuleForbids(f"Caution {caution} is not about player {player} but {about}.", where="$.player")
