"""Private sessions: a field is one group's alone for a while. No two on one field at once, and no group on two fields."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Final

from contracts.envelope import Data
from contracts.games import BookSession, CancelSession, SessionBooked, SessionCancelled
from contracts.problems import NotInThatState, RuleForbids
from contracts.rules import Rules
from services.clearance.field import FIELD
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given, Subject
from services.core.rules import RULES, operating_day
from services.games.model import known_field
from services.games.rotation.published import SESSIONS
from services.registration.states import GROUP

LONGEST: Final = timedelta(hours=12)
AHEAD: Final = timedelta(days=731)
"""How far ahead a session may be booked: two years. Further on it is a slip of the finger."""


def booking_subjects(command: BookSession, given: Given) -> set[Subject]:
    """The field, the group, and the sessions of the day."""
    wanted: set[Subject] = {(FIELD, command.field), (GROUP, command.group), (RULES, "")}
    day = _day(given.of(RULES, "").rules, command.start)
    return wanted if day is None else wanted | {(SESSIONS, day.isoformat())}


def _day(rules: Rules, start: datetime) -> date | None:
    """None at the calendar's very ends, where nothing can be booked."""
    try:
        return operating_day(rules, start)
    except OverflowError:
        return None


def book_session(command: BookSession, given: Given, moment: Moment) -> Iterable[Data]:
    """Raises RuleForbids where it lasts no time or over half a day, is over already or lies years ahead; NotInThatState where field or group has another session then."""
    known_field(given, command.field)
    must_know(given.of(GROUP, command.group).known, f"group:{command.group}")
    if not timedelta() < command.end - command.start <= LONGEST:
        raise RuleForbids("A session ends after it starts, and within 12 hours. Correct its times.", where="$.end")
    day = _day(moment.rules, command.start)
    if day is None or not moment.now < command.end <= moment.now + AHEAD:
        raise RuleForbids("A session ends later than now, and within two years. Correct its times.", where="$.end")
    sessions = given.of(SESSIONS, day.isoformat())
    must_be_new(command.session in sessions.named, f"session:{command.session}")
    for one in sessions.booked.values():
        together = one.start < command.end and command.start < one.end
        if together and (one.field == command.field or one.group == command.group):
            raise NotInThatState(
                f"Session {one.session} has field {one.field} for group {one.group} from {one.start.isoformat()} to {one.end.isoformat()}. "
                "Choose another time, or cancel that one first.",
                where="$.start",
            )
    return [
        SessionBooked(
            of=day,
            session=command.session,
            field=command.field,
            group=command.group,
            start=command.start,
            end=command.end,
        )
    ]


def cancel_session(command: CancelSession, given: Given, _: Moment) -> Iterable[Data]:
    booked = given.of(SESSIONS, command.of.isoformat()).booked.get(command.session)
    must_know(booked, f"session:{command.session}")
    assert booked is not None  # noqa: S101 - for the type checker only
    return [SessionCancelled(of=command.of, session=command.session, field=booked.field, group=booked.group)]
