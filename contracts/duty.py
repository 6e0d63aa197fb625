"""Duty: staff, what they are qualified for and until when, who is on and where; and the checks before the gates open and after the last game."""

from datetime import date
from typing import Annotated, ClassVar, Literal

from msgspec import Meta, Struct

from contracts.envelope import Command, Data, Grant, Refusal
from contracts.words import Day, FieldId, Role, StaffId

CheckCode = Annotated[
    str, Meta(pattern=r"^[a-z][a-z0-9-]{1,39}$(?!\n)", description="A check of the list in the park rules.")
]
CheckDay = Annotated[date, Meta(extra={"tag": "checks"}, description="The operating day that a check belongs to.")]
Fault = Literal["missing", "damaged", "blocked", "out_of_date", "out_of_order", "not_clean", "does_not_agree", "other"]
Post = Literal["referee", "head_referee", "first_aider", "desk", "gear", "chrono", "staging", "manager"]


class Qualification(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    post: Post
    until: Annotated[date, Meta(description="The last day on which it holds.")]


class StaffRegistered(Data, frozen=True, kw_only=True):
    staff: StaffId
    qualifications: tuple[Qualification, ...]


class RegisterStaff(Command, frozen=True, kw_only=True):
    """Enter a member of staff, or renew what they are qualified for. Whoever loses the qualification for a post goes off duty."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"manager"})
    staff: StaffId
    qualifications: tuple[Qualification, ...]


class DutyStarted(Grant, frozen=True, kw_only=True):
    """Carries how long the qualification holds, so that whoever counts the staff of a field need not look it up.

    `left`: the field where this person was on duty until then. Nobody is at two fields.
    """

    ALSO: ClassVar[tuple[str, ...]] = ("park",)
    staff: StaffId
    post: Post
    field: FieldId | None
    left: FieldId | None = None
    qualified_until: Day


class DutyRefused(Refusal, frozen=True, kw_only=True):
    staff: StaffId
    post: Post
    field: FieldId | None


class StartDuty(Command, frozen=True, kw_only=True):
    """Put a qualified member of staff on duty, at a field or for the park, once the day is open. A referee's post needs a field.

    Starting at another field moves him there.
    """

    ROLES: ClassVar[frozenset[Role]] = frozenset({"head_referee", "manager"})
    staff: StaffId
    post: Post
    field: FieldId | None = None


class DutyEnded(Data, frozen=True, kw_only=True):
    ALSO: ClassVar[tuple[str, ...]] = ("park",)
    staff: StaffId
    field: FieldId | None


class EndDuty(Command, frozen=True, kw_only=True):
    """Record that a member of staff went off duty, from every post."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"referee", "first_aider", "head_referee", "manager"})
    FACT: ClassVar[bool] = True
    staff: StaffId


class CheckDone(Data, frozen=True, kw_only=True):
    """One of the day's checks was done, on a field or once for the park. Without a fault it passed; done again, the later one counts."""

    of: CheckDay
    check: CheckCode
    when: Literal["opening", "closing"]
    field: FieldId | None
    faults: tuple[Fault, ...]


class DoCheck(Command, frozen=True, kw_only=True):
    """Record that a check was done, with the faults it found. It may be done before the day is opened, and again once a fault is mended."""

    ROLES: ClassVar[frozenset[Role]] = frozenset(
        {"desk", "gear", "chrono", "staging", "referee", "first_aider", "head_referee", "manager"}
    )
    FACT: ClassVar[bool] = True
    check: CheckCode
    when: Literal["opening", "closing"] = "opening"
    field: FieldId | None = None
    faults: tuple[Fault, ...] = ()
