"""Opening the day: yesterday is over, and the story of every field on which nothing is left open begins anew.

So a field is read from this morning on, however many years it has been played on. One with a hold that stands, a game that is called or played,
or heads that were not counted keeps its whole story: nothing that was left open is forgotten overnight.
"""

from collections.abc import Iterable

import msgspec

from contracts.envelope import Data
from contracts.games import FieldCarried
from contracts.park import OpenDay
from services.clearance.field import FIELD, FIELDS, Field
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.games.states import BESIDE
from services.park import model as park
from services.park.states import TODAY


def subjects(_: OpenDay, given: Given) -> set[Subject]:
    wanted: set[Subject] = {(TODAY, ""), (FIELDS, "")}
    return wanted | {(fold, name) for name in given.of(FIELDS, "").names for fold in (FIELD, BESIDE)}


def open_day(command: OpenDay, given: Given, moment: Moment) -> Iterable[Data]:
    opened = park.open_day(command, given, moment)
    fields = (given.of(FIELD, name) for name in sorted(given.of(FIELDS, "").names))
    return [*opened, *(_carried(field) for field in fields if at_rest(field, given, moment))]


def at_rest(field: Field, given: Given, moment: Moment) -> bool:
    """Whether nothing on a field is left open, and nothing of today has been recorded about it yet."""
    if field.unreadable or field.configured is None or field.standing:
        return False
    if field.inspection is not None and field.inspection.day >= moment.day:
        return False
    if any(day >= moment.day for day in given.of(BESIDE, field.field).entered.values()):
        return False
    return not any(run.waiting or run.running or run.uncounted for run in field.runs.values())


def _carried(field: Field) -> FieldCarried:
    return msgspec.convert(msgspec.to_builtins(field.configured), FieldCarried)
