"""The day's checks asked about: the list of the rules, field by field, read from the log itself."""

from collections import Counter
from typing import Any

from litestar import Request, get
from litestar.params import FromPath

from contracts.checks import ON_THE_GROUND, ChecksOfDay, CheckState
from services.clearance.asking import moment_of
from services.clearance.field import FIELDS
from services.core.command import Moment
from services.core.fold import Given
from services.core.routes import park_of
from services.core.rules import RULES, operating_day
from services.duty.checks import CHECKS, states


@get("/parks/{park:str}/duty/checks", opt={"roles": ON_THE_GROUND})
async def day_checks(request: Request[Any, Any, Any], park: FromPath[str]) -> ChecksOfDay:
    """The opening and closing checks of today: what is done, what is open, what found a fault."""
    where = park_of(request, park)
    now = where.clock.now()
    given, read = await where.load(
        lambda given: {(FIELDS, ""), (CHECKS, operating_day(given.of(RULES, "").rules, now).isoformat())}
    )
    return checks_of(given, moment_of(where, given, max(read.values())))


def checks_of(given: Given, moment: Moment) -> ChecksOfDay:
    """How the checks of a day stand."""
    names, checks = given.of(FIELDS, "").names, given.of(CHECKS, moment.day.isoformat())
    opening = tuple(states(checks, names, "opening", moment))
    closing = tuple(states(checks, names, "closing", moment))
    summary = f"Opening: {_told(opening)}. Closing: {_told(closing)}."
    if checks.unreadable:
        summary += " The record of today's checks holds something that this software cannot read: no game starts until somebody can."
    return ChecksOfDay(day=moment.day, summary=summary, opening=opening, closing=closing, basis=moment.basis)


def _told(checks: tuple[CheckState, ...]) -> str:
    count = Counter[str](one.standing for one in checks)
    lacking = [f"{count[name]} {word}" for name, word in (("failed", "with faults"), ("open", "open")) if count[name]]
    return ", ".join(lacking) if lacking else "all passed"
