"""A call for first aid, from the field to whoever is on duty: in one touch, with the place. If it is grave, call the emergency services first.

It stops no play: a hold does. It stands on every screen until somebody says that a first aider is there.
"""

from collections.abc import Iterable
from datetime import date, datetime

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.games import AidPlace, AnswerFirstAid, CallFirstAid, FirstAidAnswered, FirstAidCalled
from contracts.problems import NotInThatState
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Evolve, Fold, Given
from services.games.model import known_field


class Call(Struct, frozen=True):
    """One call for first aid."""

    call: str
    field: str
    place: AidPlace
    at: datetime
    day: date
    answered: bool = False


class Calls(Struct, frozen=True):
    """The park's calls for first aid of its latest day, and those of before that nobody answered."""

    calls: dict[str, Call] = {}

    @property
    def open(self) -> list[Call]:
        """That nobody has answered yet, the oldest first."""
        return sorted((one for one in self.calls.values() if not one.answered), key=lambda one: one.at)


def call(command: CallFirstAid, given: Given, _: Moment) -> Iterable[Data]:
    known_field(given, command.field)
    must_be_new(command.call in given.of(CALLS, "").calls, f"first aid call:{command.call}")
    return [FirstAidCalled(call=command.call, field=command.field, place=command.place)]


def answer(command: AnswerFirstAid, given: Given, _: Moment) -> Iterable[Data]:
    known = given.of(CALLS, "").calls.get(command.call)
    must_know(known, f"first aid call:{command.call}")
    if known is None or known.answered:
        raise NotInThatState(f"Call {command.call} for first aid has been answered already. Nothing is to be done.")
    return [FirstAidAnswered(call=command.call, field=known.field, came=command.came)]


def _called(calls: Calls, event: Recorded[FirstAidCalled]) -> Calls:
    data = event.data
    made = Call(data.call, data.field, data.place, event.occurred_at, event.day)
    kept = {name: one for name, one in calls.calls.items() if one.day >= event.day or not one.answered}
    return Calls({data.call: made} | kept)


def _answered(calls: Calls, event: Recorded[FirstAidAnswered]) -> Calls:
    known = calls.calls.get(event.data.call)
    return Calls(calls.calls | {known.call: replace(known, answered=True)}) if known else calls


_CALLS: dict[type[Data], Evolve[Calls]] = {FirstAidCalled: _called, FirstAidAnswered: _answered}
CALLS: Fold[Calls] = Fold("games.first_aid", "first_aid", lambda _: Calls(), _CALLS)
