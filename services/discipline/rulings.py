"""What only the head referee decides: whether it was a second act, an ejection, a player's return, an appeal."""

from collections.abc import Iterable

from contracts.discipline import (
    AppealDecided,
    AppealRaised,
    ConfirmEjection,
    DecideAppeal,
    EjectionConfirmed,
    PlayerReinstated,
    RaiseAppeal,
    ReinstatePlayer,
    RuleSeparateAct,
    SeparateActRuled,
)
from contracts.envelope import Data
from contracts.problems import NotInThatState, RuleForbids
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given
from services.discipline.model import entry_about
from services.discipline.standing import standing
from services.discipline.states import RECORD, Record


def rule_separate_act(command: RuleSeparateAct, given: Given, moment: Moment) -> Iterable[Data]:
    """Only the later entry of the two is ruled on: the one recorded first counts in any case."""
    record = given.of(RECORD, command.player)
    entry = entry_about(given, command.player, command.caution)
    if entry not in standing(record, {}, moment, {}).awaiting_ruling:
        raise NotInThatState(
            f"Caution {command.caution} does not wait for a ruling. {_waiting(record, moment)}",
            where=f"caution:{command.caution}",
        )
    return [SeparateActRuled(caution=command.caution, player=command.player)]


def confirm_ejection(command: ConfirmEjection, given: Given, moment: Moment) -> Iterable[Data]:
    record = given.of(RECORD, command.player)
    entry = entry_about(given, command.player, command.caution)
    if entry not in standing(record, {}, moment, {}).awaiting_confirmation:
        raise NotInThatState(
            f"Caution {command.caution} does not wait for a confirmation: only one that weighs two does, until it is confirmed, "
            f"withdrawn, or the player reinstated. {_waiting(record, moment)}",
            where=f"caution:{command.caution}",
        )
    return [EjectionConfirmed(player=command.player, caution=command.caution)]


def _waiting(record: Record, moment: Moment) -> str:
    now = standing(record, {}, moment, {})
    names = [one.caution for one in record.entries if one in now.awaiting_ruling or one in now.awaiting_confirmation]
    return f"Waiting for the head referee: {', '.join(names) or 'none'}."


def reinstate(command: ReinstatePlayer, given: Given, moment: Moment) -> Iterable[Data]:
    record = given.of(RECORD, command.player)
    must_know(record.registered, f"player:{command.player}")
    now = standing(record, {}, moment, {})
    if not (now.ejected or now.stood_down):
        raise NotInThatState(
            f"Player {command.player} is neither ejected nor stood down. To end a sit-out, void its caution.",
            where=f"player:{command.player}",
        )
    return [PlayerReinstated(player=command.player)]


def raise_appeal(command: RaiseAppeal, given: Given, _: Moment) -> Iterable[Data]:
    entry_about(given, command.player, command.caution)
    known = given.of(RECORD, command.player).appeals
    must_be_new(any(one.appeal == command.appeal for one in known), f"appeal:{command.appeal}")
    return [AppealRaised(appeal=command.appeal, caution=command.caution, player=command.player)]


def decide_appeal(command: DecideAppeal, given: Given, _: Moment) -> Iterable[Data]:
    """Upheld, it withdraws the caution by itself."""
    entry_about(given, command.player, command.caution)
    appeal = next((one for one in given.of(RECORD, command.player).appeals if one.appeal == command.appeal), None)
    must_know(appeal, f"appeal:{command.appeal}")
    if appeal is not None and appeal.caution != command.caution:
        raise RuleForbids(
            f"Appeal {command.appeal} is against caution {appeal.caution}, not {command.caution}. Name the right one.",
            where="$.caution",
        )
    if appeal is not None and appeal.decided:
        raise NotInThatState(
            f"Appeal {command.appeal} has been decided already. Its decision stands.", where=f"appeal:{command.appeal}"
        )
    return [AppealDecided(appeal=command.appeal, caution=command.caution, player=command.player, upheld=command.upheld)]
