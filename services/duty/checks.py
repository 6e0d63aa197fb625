"""The day's checks: before the gates open and after the last game somebody looks at fields, netting, ways for help, first aid, gear and cash.

The list is the park's own, in its rules. A check is a fact of who did it and what he found; done again once a fault is mended, the later
one counts. Where the rules say that play waits for it, no game starts while it is open or found a fault. It stands beside the field's
daily inspection and takes the place of none. Common practice, no source; local law and the insurer's rules come first.
"""

from collections.abc import Iterable, Iterator
from typing import Final, Literal, get_args

from msgspec import Struct
from msgspec.structs import replace

from contracts.checks import CheckState, Standing
from contracts.duty import CheckDone, DoCheck, Fault
from contracts.envelope import Data, Reason, Recorded, Unknown
from contracts.problems import NotAllowed, RuleForbids
from contracts.reasons import reason
from contracts.rules import Check
from contracts.words import Role
from services.core.command import Moment, must_know
from services.core.fold import Fold, Given
from services.core.rights import named
from services.duty.states import FIELD_STAFF, Place

When = Literal["opening", "closing"]
WHENS: Final[tuple[When, ...]] = get_args(When)
ANY_CHECK: Final[frozenset[Role]] = frozenset({"head_referee", "manager"})


class Done(Struct, frozen=True):
    """The latest word on one check."""

    check: str
    when: When
    field: str | None
    faults: tuple[Fault, ...]
    place: Place
    by: str


class Checks(Struct, frozen=True):
    """What was checked on one operating day."""

    day: str
    done: tuple[Done, ...] = ()
    unreadable: bool = False

    def of(self, check: str, when: When, field: str | None) -> Done | None:
        return next((one for one in self.done if (one.check, one.when, one.field) == (check, when, field)), None)


def do_check(command: DoCheck, given: Given, moment: Moment) -> Iterable[Data]:
    """It must be on the list of the rules in force, of that end of the day, for a field or for the park as the list says."""
    check = _listed(command, moment)
    entitled = {*check.by, *ANY_CHECK}
    if check.by and not moment.roles & entitled:
        raise NotAllowed(
            f"{check.title!r} is done by {named(entitled)}; this device's key is for {named(moment.roles)}. "
            "Tell one of them what you saw.",
            where="$.check",
        )
    if command.field is not None:
        must_know(given.of(FIELD_STAFF, command.field).known, f"field:{command.field}")
    return [
        CheckDone(
            of=moment.day,
            check=command.check,
            when=command.when,
            field=command.field,
            faults=tuple(dict.fromkeys(command.faults)),
        )
    ]


def _listed(command: DoCheck, moment: Moment) -> Check:
    checks = moment.rules.duty.checks
    check = next((one for one in checks if one.code == command.check), None)
    if check is None:
        codes = ", ".join(one.code for one in checks) or "none"
        raise RuleForbids(f"The rules list no check {command.check}. They list: {codes}.", where="$.check")
    if check.when not in {"both", command.when}:
        raise RuleForbids(f"{check.code} is a check at {check.when}. Record it as that.", where="$.when")
    if check.each_field and command.field is None:
        raise RuleForbids(f"{check.code} is done field by field. Name the field.", where="$.field")
    if command.field is not None and not check.each_field:
        raise RuleForbids(f"{check.code} is done once for the park. Leave the field out.", where="$.field")
    return check


def reasons(checks: Checks, field: str, moment: Moment) -> list[Reason]:
    """Every opening check that play on this field waits for: one not done today, or one that found a fault."""
    if checks.unreadable:
        return [reason("record_not_understood", f"checks:{checks.day}")]
    found = []
    for check in moment.rules.duty.checks:
        on = field if check.each_field else None
        subject = f"field:{field}" if check.each_field else None
        done = checks.of(check.code, "opening", on)
        if not check.play_waits or check.when == "closing":
            continue
        if done is None:
            found.append(reason("check_open", subject, f"{check.title}."))
        elif done.faults:
            found.append(reason("check_failed", subject, f"{check.title}: {spoken(done.faults)}."))
    return found


def states(checks: Checks, fields: Iterable[str], when: When, moment: Moment) -> list[CheckState]:
    """How each check of that end of the day stands, on every field that it is done on; the most urgent first."""
    names = sorted(fields)
    found = [
        _state(check, checks.of(check.code, when, field), when, field)
        for check in moment.rules.duty.checks
        if check.when in {"both", when}
        for field in (names if check.each_field else [None])
    ]
    return sorted(found, key=lambda one: (one.standing == "passed", not one.play_waits))


def _state(check: Check, done: Done | None, when: When, field: str | None) -> CheckState:
    standing: Standing = "open" if done is None else "failed" if done.faults else "passed"
    waits = check.play_waits and when == "opening"
    return CheckState(
        check=check.code,
        title=check.title,
        when=when,
        standing=standing,
        sentence=" ".join(_sentence(check.title, done, field, waits=waits)),
        play_waits=waits,
        field=field,
        faults=done.faults if done else (),
        at=done.place[0] if done else None,
        by=done.by if done else None,
    )


def _sentence(title: str, done: Done | None, field: str | None, *, waits: bool) -> Iterator[str]:
    where = f" (field {field})" if field else ""
    if done is not None and not done.faults:
        yield f"{title}{where}: passed."
        return
    yield f"{title}{where}: not done yet." if done is None else f"{title}{where}: {spoken(done.faults)}."
    if waits:
        yield "No game starts there until it has passed." if field else "No game starts until it has passed."


def spoken(faults: Iterable[Fault]) -> str:
    """Faults in words."""
    return ", ".join(fault.replace("_", " ") for fault in faults)


def _done(checks: Checks, event: Recorded[CheckDone]) -> Checks:
    data, place = event.data, (event.occurred_at, event.position)
    before = checks.of(data.check, data.when, data.field)
    if before is not None and before.place > place:
        return checks
    done = Done(data.check, data.when, data.field, data.faults, place, event.actor or event.device)
    return replace(checks, done=(*(one for one in checks.done if one is not before), done))


def _unreadable(checks: Checks, _: Recorded[Unknown]) -> Checks:
    return replace(checks, unreadable=True)


CHECKS: Fold[Checks] = Fold("duty.checks", "checks", Checks, {CheckDone: _done, Unknown: _unreadable})
"""By operating day, so that the story of a day's checks is as short as the day, and holds what was done before it was opened."""
