"""Duty: no game without enough qualified referees on its field and a qualified first aider in the park.

A qualification holds to the end of its last day. Duty is for one operating day: yesterday's counts for nothing today. A referee is on
duty at a field; the head referee counts as one more where he stands at a field himself. Local law and the insurer's rules on
staffing and first aid come first.
"""

from collections.abc import Collection, Iterable
from datetime import date
from math import ceil
from typing import Final

from contracts.duty import (
    DutyEnded,
    DutyRefused,
    DutyStarted,
    EndDuty,
    Post,
    Qualification,
    RegisterStaff,
    StaffRegistered,
    StartDuty,
)
from contracts.envelope import Data, Reason
from contracts.problems import NotInThatState, RuleForbids
from contracts.reasons import reason
from services.core.command import Moment, must_know
from services.core.fold import Given
from services.duty.states import FIELD_STAFF, OPENED_DAY, STAFF, FieldStaff, ParkStaff, Roster, Staff

REFEREES: Final = frozenset({"referee", "head_referee"})
FIRST_AIDERS: Final = frozenset({"first_aider"})


def reasons(field_staff: FieldStaff, park_staff: ParkStaff, players: int, moment: Moment) -> list[Reason]:
    """Every reason why this many players, counting all who enter or are on the field, have too few staff to look after them."""
    rules = moment.rules.games
    found: list[Reason] = []
    needed, referees = (
        referees_needed(players, rules.players_per_referee),
        on_duty(field_staff.roster, REFEREES, moment.day),
    )
    if referees < needed:
        detail = f"{players} player{'s need' if players != 1 else ' needs'} {needed}; on duty: {referees}."
        found.append(reason("too_few_referees", f"field:{field_staff.field}", detail))
    first_aiders = on_duty(park_staff.roster, FIRST_AIDERS, moment.day)
    if first_aiders < rules.first_aiders:
        found.append(reason("no_first_aider", None, f"Needed: {rules.first_aiders}; on duty: {first_aiders}."))
    return found


def referees_needed(players: int, players_per_referee: int) -> int:
    """One for each full or begun number of players; one at least."""
    return max(1, ceil(players / players_per_referee))


def on_duty(roster: Roster, posts: Collection[str], day: date) -> int:
    """How many members of staff are at any of these posts on that day, their qualification in date. Nobody counts twice."""
    if roster.day != day:
        return 0
    return len({duty.staff for duty in roster.duties if duty.post in posts and duty.until >= day})


def qualified_until(qualifications: Iterable[Qualification], post: Post) -> date | None:
    """The last day on which someone may do a post; a head referee may referee. None: not qualified for it at all."""
    suffices = REFEREES if post == "referee" else {post}
    return max((one.until for one in qualifications if one.post in suffices), default=None)


def register_staff(command: RegisterStaff, given: Given, moment: Moment) -> Iterable[Data]:
    """Entry or renewal replaces every qualification. Whoever is on duty without one for the post is off duty with it."""
    staff = given.of(STAFF, command.staff)
    registered = StaffRegistered(staff=command.staff, qualifications=command.qualifications)
    posts = {duty.post for duty in staff.roster.duties if staff.roster.day == moment.day}
    if all(_in_date(command.qualifications, post, moment.day) for post in posts):
        return [registered]
    return [registered, DutyEnded(staff=command.staff, field=staff.field)]


def _in_date(qualifications: Iterable[Qualification], post: Post, day: date) -> bool:
    until = qualified_until(qualifications, post)
    return until is not None and until >= day


def start_duty(command: StartDuty, given: Given, moment: Moment) -> Iterable[Data]:
    """Nobody goes on duty for what he is not qualified for on that day, nor before the day is open."""
    staff = given.of(STAFF, command.staff)
    must_know(staff.registered, f"staff:{command.staff}")
    if command.field is not None:
        must_know(given.of(FIELD_STAFF, command.field).known, f"field:{command.field}")
    elif command.post == "referee":
        raise RuleForbids("A referee is on duty at a field. Name the field.", where="$.field")
    _must_be_latest(staff, moment)
    found: list[Reason] = []
    opened = given.of(OPENED_DAY, "").opened
    if opened is None or opened < moment.day:
        found.append(reason("day_not_open", None, "Duties begin anew when a day is opened: open it first."))
    until = qualified_until(staff.qualifications, command.post)
    if until is None or until < moment.day:
        detail = f"The last one ran out after {until}." if until else ""
        found.append(reason("staff_not_qualified", f"staff:{command.staff}", detail))
    if found or until is None:
        return [
            DutyRefused(
                basis=moment.basis, reasons=tuple(found), staff=command.staff, post=command.post, field=command.field
            )
        ]
    before = staff.field if staff.roster.day == moment.day else None
    return [
        DutyStarted(
            basis=moment.basis,
            staff=command.staff,
            post=command.post,
            field=command.field,
            left=before if command.field not in {None, before} else None,
            qualified_until=until,
        )
    ]


def _must_be_latest(staff: Staff, moment: Moment) -> None:
    """A duty cannot be granted for a time before the person is known to have gone on or off another."""
    roster = staff.roster
    known = [duty.place[0] for duty in roster.duties] + [place[0] for _, place in roster.ended]
    if roster.day == moment.day and any(at > moment.occurred_at for at in known):
        raise NotInThatState(
            f"Staff {staff.staff} went on or off duty at {max(known).isoformat()}, after the time claimed here. "
            "Start the duty from now.",
            where="$.occurred_at",
        )


def end_duty(command: EndDuty, given: Given, _: Moment) -> Iterable[Data]:
    staff = given.of(STAFF, command.staff)
    must_know(staff.registered, f"staff:{command.staff}")
    return [DutyEnded(staff=command.staff, field=staff.field)]
