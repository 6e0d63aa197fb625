"""The commands of duty and the subjects that each rests on."""

from contracts.duty import DoCheck, EndDuty, RegisterStaff, StartDuty
from services.core.command import Handler
from services.core.fold import Given, Subject
from services.core.service import Service
from services.duty import checks, model
from services.duty.states import FIELD_STAFF, OPENED_DAY, STAFF


def _start(command: StartDuty, _: Given) -> set[Subject]:
    subjects: set[Subject] = {(STAFF, command.staff), (OPENED_DAY, "")}
    return subjects if command.field is None else {*subjects, (FIELD_STAFF, command.field)}


def _check(command: DoCheck, _: Given) -> set[Subject]:
    return set() if command.field is None else {(FIELD_STAFF, command.field)}


SERVICE = Service(
    "duty",
    (
        Handler(RegisterStaff, lambda c, _: {(STAFF, c.staff)}, model.register_staff),
        Handler(StartDuty, _start, model.start_duty),
        Handler(EndDuty, lambda c, _: {(STAFF, c.staff)}, model.end_duty),
        Handler(DoCheck, _check, checks.do_check),
    ),
)
