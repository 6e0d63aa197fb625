"""Whether a field is open for play: the field itself, the checks that play waits for, and the staff on duty. Asked alike by a start, by staging and by the wall."""

from contracts.envelope import Reason
from services.clearance import field as fields
from services.clearance.field import FIELD
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.duty import checks
from services.duty import model as duty
from services.duty.checks import CHECKS
from services.duty.states import FIELD_STAFF, OPENED_DAY, PARK_STAFF


def subjects(field: str, given: Given) -> set[Subject]:
    """What that rests on. The checks are those of the day that was opened: on any other day none is known."""
    return {(FIELD, field), (FIELD_STAFF, field), (PARK_STAFF, ""), *todays_checks(given)}


def todays_checks(given: Given) -> set[Subject]:
    opened = given.of(OPENED_DAY, "").opened
    return {(OPENED_DAY, "")} | ({(CHECKS, opened.isoformat())} if opened else set())


def at_the_gate(given: Given, field: str, moment: Moment) -> list[Reason]:
    """What keeps anybody off a field now: all of that, with staff enough for one more player at least. How many play is known to the game."""
    return reasons(given, field, moment, given.of(FIELD, field).running, 1)


def shut(given: Given, field: str, moment: Moment, game: str | None = None, players: int = 0) -> list[Reason]:
    """Every reason of the field's own, and every check that play on it waits for."""
    return [
        *fields.reasons(given.of(FIELD, field), moment, game, players),
        *checks.reasons(given.of(CHECKS, moment.day.isoformat()), field, moment),
    ]


def reasons(given: Given, field: str, moment: Moment, game: str | None, players: int) -> list[Reason]:
    """The same, and why the staff on duty allow no game of so many players."""
    return [
        *shut(given, field, moment, game, players),
        *duty.reasons(given.of(FIELD_STAFF, field), given.of(PARK_STAFF, ""), players, moment),
    ]
