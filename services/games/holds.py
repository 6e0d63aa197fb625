"""Holds: any of the staff may stop play on a field, or everywhere. Only a person resumes it, field by field, after a sweep.

Masks stay on until outside the netting, hold or no hold. In an emergency call the emergency services first.
"""

from collections.abc import Iterable

from contracts.envelope import Data
from contracts.games import AskHold, ConfirmHold, HoldAsked, HoldConfirmed, HoldLifted, LiftHold
from contracts.problems import NotInThatState
from services.clearance.field import FIELD, FIELDS
from services.core.command import Moment, must_know
from services.core.fold import Given, Subject
from services.games import weather
from services.games.model import known_field
from services.park.states import HEAT, LIGHTNING


def ask_hold(command: AskHold, given: Given, _: Moment) -> Iterable[Data]:
    """Without a field it is a hold of every field that the park has."""
    if command.field is None:
        fields = tuple(sorted(given.of(FIELDS, "").names))
    else:
        known_field(given, command.field)
        fields = (command.field,)
    return [HoldAsked(hold=command.hold, fields=fields, whole_park=command.field is None, cause=command.cause)]


def confirm_hold(command: ConfirmHold, given: Given, _: Moment) -> Iterable[Data]:
    _must_be_asked(given, command.hold, command.field)
    return [HoldConfirmed(hold=command.hold, field=command.field)]


def lift_subjects(command: LiftHold, _: Given) -> set[Subject]:
    return {(FIELD, command.field), (LIGHTNING, ""), (HEAT, "")}


def lift_hold(command: LiftHold, given: Given, moment: Moment) -> Iterable[Data]:
    """Another hold on the same field goes on. One by the weather waits for weather that allows play."""
    _must_be_asked(given, command.hold, command.field)
    hold = next((one for one in given.of(FIELD, command.field).standing if one.hold == command.hold), None)
    if hold is None:
        raise NotInThatState(
            f"Hold {command.hold} on field {command.field} has been lifted already. Nothing is to be done.",
            where=f"field:{command.field}",
        )
    if hold.cause == "weather":
        weather.must_allow_play(command.field, given, moment)
    return [HoldLifted(hold=command.hold, field=command.field)]


def _must_be_asked(given: Given, hold: str, field: str) -> None:
    state, _ = known_field(given, field)
    must_know(any(one.hold == hold for one in state.holds), f"hold:{hold}")
