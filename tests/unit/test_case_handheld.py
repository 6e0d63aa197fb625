"""What referees touched on their handhelds, in a case file: first aid called to the field, and an out that was recorded by mistake."""

import re
from uuid import UUID

from contracts.games import CallFirstAid, FirstAidAnswered, FirstAidCalled, OutVoided, PlayerOut
from contracts.moments import StatusAt
from services.audit.cases import archive
from services.audit.cases.case import case_file
from tests.unit.case_park import ASH, MORNING, evidence_of, gathered, rows_of
from tests.unit.test_moment import open_park, status

AT = "2026-05-09 09:{:02}:00 +01:00"
FIRST = len(MORNING) + 1
OFF = next(position for position, data in enumerate(MORNING, 1) if isinstance(data, PlayerOut))


def report(*more):
    """The rows of the report on the incident, by what was asked for."""
    rows = rows_of((*MORNING, *more))
    case, stories = gathered(rows, "incident", "incident-1")
    page = archive.unpacked(case_file(case, stories, evidence_of(rows, case)))["report.html"].decode()
    return dict(re.findall(r"<tr><td>([^<]*)</td><td>([^<]*)</td>", page))


def test_the_report_says_when_first_aid_was_called_to_the_field_and_when_it_came():
    told = report(
        FirstAidCalled(call="a1", field="birch", place="on_field"),
        FirstAidCalled(call="a2", field="fern", place="gate"),
        FirstAidAnswered(call="a1", field="birch", came=True),
    )
    assert told["First aid called to the field, and came"] == (
        f"called onto the field ({AT.format(FIRST)}); a first aider came ({AT.format(FIRST + 2)})"
    )


def test_an_out_that_was_recorded_by_mistake_is_no_time_at_which_he_came_off():
    assert report()["Off the field"].startswith("injured")
    mistake = OutVoided(player=ASH, field="birch", game="birch-1", out=UUID(int=OFF))
    assert not report(mistake)["Off the field"].startswith("injured")


def test_a_call_that_stood_at_a_moment_of_the_past_stands_on_the_board_of_that_moment():
    day = open_park()
    day.at(10).when(CallFirstAid(call="a1", field="birch"))
    found: StatusAt = status(day, 12)
    assert [one.kind for one in found.as_recorded.alerts if one.kind == "first_aid_called"] == ["first_aid_called"]
