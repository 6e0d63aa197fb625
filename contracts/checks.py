"""The day's checks as they are asked about: what is done, what is open, what found a fault, in words."""

from datetime import date, datetime
from typing import Literal

from msgspec import Struct

from contracts.duty import Fault
from contracts.envelope import Basis
from contracts.read import Read
from contracts.words import Role

ON_THE_GROUND: frozenset[Role] = frozenset(
    {"desk", "gear", "chrono", "staging", "referee", "head_referee", "first_aider", "manager", "auditor"}
)
Standing = Literal["open", "failed", "passed"]


class CheckState(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One check of the list, on one field or once for the park."""

    check: str
    title: str
    when: Literal["opening", "closing"]
    standing: Standing
    sentence: str
    play_waits: bool = False
    """No game starts there while it has not passed."""
    field: str | None = None
    faults: tuple[Fault, ...] = ()
    at: datetime | None = None
    by: str | None = None
    """Who recorded it: the member of staff at the device, else the device."""


class ChecksOfDay(Struct, frozen=True, kw_only=True):
    """Every check of the operating day that it is; what play waits for first, then what is open or failed."""

    day: date
    summary: str
    opening: tuple[CheckState, ...]
    closing: tuple[CheckState, ...]
    basis: Basis


CHECK_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/duty/checks",
        summary="The opening and closing checks of today: what is done, what is open, what found a fault.",
        roles=ON_THE_GROUND,
        answer=ChecksOfDay,
    ),
)
