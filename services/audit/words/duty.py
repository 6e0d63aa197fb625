"""Who was on duty, in words."""

from contracts.duty import CheckDone, DutyEnded, DutyRefused, DutyStarted, StaffRegistered
from services.audit.words.scene import Scene, Words, because, spoken, together


def _registered(data: StaffRegistered, _: Scene) -> str:
    held = [f"{spoken(one.post)} until {one.until:%Y-%m-%d}" for one in data.qualifications]
    return f"Staff {data.staff} was entered, qualified as {together(held)}."


def _started(data: DutyStarted, _: Scene) -> str:
    where = f"at field {data.field}" if data.field else "for the park"
    left = f", no longer at field {data.left}" if data.left else ""
    return f"Staff {data.staff} went on duty as {spoken(data.post)} {where}{left}, qualified until {data.qualified_until:%Y-%m-%d}."


def _checked(data: CheckDone, _: Scene) -> str:
    where = f" on field {data.field}" if data.field else ""
    found = f"found: {together([spoken(fault) for fault in data.faults])}" if data.faults else "passed"
    return f"The {data.when} check {spoken(data.check)}{where} was done and {found}."


WORDS: Words = {
    StaffRegistered: _registered,
    DutyStarted: _started,
    DutyRefused: lambda d, _: because(f"Staff {d.staff} was not put on duty as {spoken(d.post)}", d.reasons),
    DutyEnded: lambda d, _: f"Staff {d.staff} went off duty.",
    CheckDone: _checked,
}
