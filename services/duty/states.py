"""What is remembered of the staff: what each is qualified for, who is on duty, and where."""

from datetime import date, datetime
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from contracts.duty import DutyEnded, DutyStarted, Post, Qualification, StaffRegistered
from contracts.envelope import Data, Recorded
from contracts.games import FieldConfigured
from contracts.park import DayOpened
from services.core.fold import Evolve, Fold

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Duty(Struct, frozen=True):
    """One member of staff at one post. `until`: the last day on which the qualification for it holds."""

    staff: str
    post: Post
    field: str | None
    until: date
    place: Place


class Roster(Struct, frozen=True):
    """Who is on duty on the newest day that was heard of; what is told later of an earlier day changes nothing."""

    day: date | None = None
    duties: tuple[Duty, ...] = ()
    ended: tuple[tuple[str, Place], ...] = ()
    """Who went off, and when: what began before that is over, however late it is told."""


class Staff(Struct, frozen=True):
    staff: str
    registered: bool = False
    qualifications: tuple[Qualification, ...] = ()
    qualified_since: Place | None = None
    roster: Roster = Roster()

    @property
    def field(self) -> str | None:
        """The field where this person is on duty: the one gone to last."""
        at_fields = [duty for duty in self.roster.duties if duty.field is not None]
        return max(at_fields, key=lambda duty: duty.place).field if at_fields else None


class FieldStaff(Struct, frozen=True):
    field: str
    known: bool = False
    roster: Roster = Roster()


class ParkStaff(Struct, frozen=True):
    roster: Roster = Roster()


class OpenedDay(Struct, frozen=True):
    opened: date | None = None


def _on_day(roster: Roster, event: Recorded[Any]) -> Roster | None:
    """The roster of the event's day; None when that day is past."""
    if roster.day is None or event.day > roster.day:
        return Roster(event.day)
    return roster if event.day == roster.day else None


def _on(roster: Roster, event: Recorded[DutyStarted]) -> Roster:
    """Someone goes on duty, unless known to have gone off since. The same post again is the same duty anew."""
    today, data, place = _on_day(roster, event), event.data, (event.occurred_at, event.position)
    if today is None or any(staff == data.staff and place < ended for staff, ended in today.ended):
        return roster
    duties = tuple(
        duty for duty in today.duties if (duty.staff, duty.post, duty.field) != (data.staff, data.post, data.field)
    )
    return replace(today, duties=(*duties, Duty(data.staff, data.post, data.field, data.qualified_until, place)))


def _off(roster: Roster, event: Recorded[DutyEnded] | Recorded[DutyStarted]) -> Roster:
    """Someone goes off every duty that had begun by then."""
    today, staff, place = _on_day(roster, event), event.data.staff, (event.occurred_at, event.position)
    if today is None:
        return roster
    return replace(
        today,
        duties=tuple(duty for duty in today.duties if duty.staff != staff or duty.place > place),
        ended=(*today.ended, (staff, place)),
    )


def _moved(roster: Roster, event: Recorded[DutyStarted]) -> Roster:
    """Someone goes on duty, and off what was being done at the field left for it."""
    left, place = event.data.left, (event.occurred_at, event.position)
    stays = tuple(
        duty
        for duty in roster.duties
        if left is None or (duty.staff, duty.field) != (event.data.staff, left) or duty.place > place
    )
    return _on(replace(roster, duties=stays), event)


def _staff_registered(staff: Staff, event: Recorded[StaffRegistered]) -> Staff:
    place = (event.occurred_at, event.position)
    if staff.qualified_since is not None and place < staff.qualified_since:
        return staff
    return replace(staff, registered=True, qualifications=event.data.qualifications, qualified_since=place)


def _staff_started(staff: Staff, event: Recorded[DutyStarted]) -> Staff:
    return replace(staff, roster=_moved(staff.roster, event))


def _staff_ended(staff: Staff, event: Recorded[DutyEnded]) -> Staff:
    return replace(staff, roster=_off(staff.roster, event))


def _field_configured(field: FieldStaff, _: Recorded[FieldConfigured]) -> FieldStaff:
    return replace(field, known=True)


def _field_started(field: FieldStaff, event: Recorded[DutyStarted]) -> FieldStaff:
    arrives = event.data.field == field.field
    return replace(field, roster=_on(field.roster, event) if arrives else _off(field.roster, event))


def _field_ended(field: FieldStaff, event: Recorded[DutyEnded]) -> FieldStaff:
    return replace(field, roster=_off(field.roster, event))


def _park_started(park: ParkStaff, event: Recorded[DutyStarted]) -> ParkStaff:
    return replace(park, roster=_moved(park.roster, event))


def _park_ended(park: ParkStaff, event: Recorded[DutyEnded]) -> ParkStaff:
    return replace(park, roster=_off(park.roster, event))


def _opened(_: OpenedDay, event: Recorded[DayOpened]) -> OpenedDay:
    return OpenedDay(event.data.opened)


STAFF: Fold[Staff] = Fold(
    "duty.staff",
    "staff",
    Staff,
    {StaffRegistered: _staff_registered, DutyStarted: _staff_started, DutyEnded: _staff_ended},
)
_FIELD: dict[type[Data], Evolve[FieldStaff]] = {
    FieldConfigured: _field_configured,
    DutyStarted: _field_started,
    DutyEnded: _field_ended,
}
FIELD_STAFF: Fold[FieldStaff] = Fold("duty.field_staff", "field", FieldStaff, _FIELD)
PARK_STAFF: Fold[ParkStaff] = Fold(
    "duty.park_staff", "park", lambda _: ParkStaff(), {DutyStarted: _park_started, DutyEnded: _park_ended}
)
"""Begins anew at the opening of a day."""
OPENED_DAY: Fold[OpenedDay] = Fold("duty.opened_day", "park", lambda _: OpenedDay(), {DayOpened: _opened})
