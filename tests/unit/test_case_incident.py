"""A case file on an incident: the first-aid record, the chain of custody, and nothing of others."""

import json
import re
from uuid import UUID

import pytest

from contracts.equipment import GearReleased
from contracts.incidents import (
    CustodyPassed,
    CustodyTaken,
    EntryWithdrawn,
    HelpArrived,
    HelpCalled,
    IncidentClosed,
    IncidentRecorded,
    InjuryRecorded,
    NotificationRecorded,
    OutcomeRecorded,
    SceneRecorded,
    TreatmentGiven,
    WitnessNamed,
)
from services.audit.cases import archive
from services.audit.cases.case import case_file
from tests.unit.case_park import ASH, ELM, MORNING, evidence_of, gathered, rows_of


def casualty(kind, player=ASH, worker=None, **more):
    return kind(incident="incident-1", player=player, worker=worker, **more)


def held(kind, **more):
    return kind(incident="incident-1", mask=None, bottle=None, kept="safe", **({"marker": "marker-31"} | more))


AFTERNOON = (
    *MORNING,
    HelpCalled(incident="incident-1", service="ambulance"),
    HelpArrived(incident="incident-1", service="ambulance"),
    casualty(InjuryRecorded, part="eye", side="left", injury="impact"),
    casualty(TreatmentGiven, treatment="rinsed", staff="staff-wren"),
    casualty(OutcomeRecorded, outcome="taken_to_hospital"),
    casualty(InjuryRecorded, player=None, worker="staff-jay", part="knee", side=None, injury="graze"),
    casualty(OutcomeRecorded, player=None, worker="staff-jay", outcome="went_home"),
    SceneRecorded(
        incident="incident-1", place="bunker", sky="rain", paint_batch="B-7", bottles=("bottle-31",), tests=("test-31",)
    ),
    WitnessNamed(incident="incident-1", person=None, player=ELM, staff=None),
    WitnessNamed(incident="incident-1", person="person-hazel-2", player=None, staff=None),
    WitnessNamed(incident="incident-1", person=None, player=None, staff="staff-heron"),
    held(CustodyTaken, staff="staff-wren"),
    held(CustodyPassed, giver="staff-jay", taker=None, outside="laboratory"),
    NotificationRecorded(incident="incident-1", reminder="gb-notice"),
    IncidentClosed(incident="incident-1", missing=("notification",)),
    GearReleased(marker="marker-31", mask=None, bottle=None),
)  # fmt: skip


def filed(kind="incident", subject="incident-1", happened=AFTERNOON):
    """The files of a case, and the rows of its report by what was asked for."""
    rows = rows_of(happened)
    case, stories = gathered(rows, kind, subject)
    files = archive.unpacked(case_file(case, stories, evidence_of(rows, case)))
    page = files["report.html"].decode()
    return files, dict(re.findall(r"<tr><td>([^<]*)</td><td>([^<]*)</td>", page)), page


@pytest.mark.parametrize(("kind", "subject"), [("incident", "incident-1"), ("player", ASH)])
def test_the_report_says_all_that_was_told_of_the_incident(kind, subject):
    _, rows, page = filed(kind, subject)
    at = "2026-05-09 09:{:02}:00 +01:00".format
    first = len(MORNING) + 1
    assert (
        rows["Time the ambulance was called, and came"]
        == f"ambulance called ({at(first)}); ambulance came ({at(first + 1)})"
    )
    assert rows["Injury"] == f"left eye: impact ({at(first + 2)})"
    assert rows["Treatment given, by whom, when"] == f"rinsed, by staff-wren ({at(first + 3)})"
    assert rows["How it ended, as far as is known"] == f"taken to hospital ({at(first + 4)})"
    assert rows["Place"].startswith("bunker")
    assert rows["Weather there"].startswith("rain")
    assert rows["Paint batch"].startswith("B-7")
    assert rows["Named witnesses"] == "staff-heron and 2 others, whom the park knows"
    assert rows["Custody of marker marker-31"] == (
        f"{at(first + 11)} taken in to staff-wren, kept: safe; {at(first + 12)} staff-jay to laboratory, kept: safe "
        f"[staff-jay passed it on, though staff-wren had it.]; {at(first + 15)} released by a manager"
    )
    assert rows["Notifications to insurer and authorities"].startswith("as gb-notice asks")
    assert rows["Record closed by a manager"].startswith("with this missing: notification")
    assert "If anybody is hurt, call the emergency services first" in page


def test_nothing_is_told_of_a_worker_who_was_hurt_nor_of_who_saw_it():
    files, _, _ = filed()
    words = b"\n".join(content for name, content in files.items() if name != "report.pdf").decode()
    for secret in ("knee", "graze", "went_home", "went home", "person-hazel-2"):
        assert secret not in words, secret
    told = {one["position"]: one["sentence"] for one in json.loads(files["story.json"])["stories"][0]["events"]}
    worker, witness = len(MORNING) + 6, len(MORNING) + 9
    assert told[worker] == "Injury recorded, about another player: withheld."
    assert ELM not in told[witness]


def test_in_a_players_own_case_nobody_elses_injury_is_there_at_all():
    files, _, _ = filed("player", ASH)
    worker = len(MORNING) + 6
    assert not [name for name in files if re.fullmatch(rf"events/({worker}|{worker + 1})\..*", name)]


def test_what_was_not_told_is_said_to_be_not_recorded():
    _, rows, _ = filed(happened=MORNING)
    for what in (
        "Time the ambulance was called, and came", "Injury", "Treatment given, by whom, when", "Place", "Weather there",
        "Paint batch", "Named witnesses", "Custody of mask and marker", "Notifications to insurer and authorities",
    ):  # fmt: skip
        assert rows[what] == "not recorded"


def withdrawn(position, kind, **named):
    nobody = {
        "field": None,
        "game": None,
        "players": (),
        "persons": (),
        "markers": (),
        "masks": (),
        "bottles": (),
    }
    return EntryWithdrawn(
        incident="incident-1", entry=UUID(int=position), kind=kind, slip="wrong_person", **(nobody | named)
    )  # fmt: skip


WRONG = (
    *MORNING,
    casualty(InjuryRecorded, part="eye", side="left", injury="impact"),
    casualty(InjuryRecorded, player=ELM, part="knee", side=None, injury="graze"),
    casualty(OutcomeRecorded, outcome="went_home"),
    withdrawn(len(MORNING) + 2, "injury", players=(ELM,)),
    withdrawn(len(MORNING) + 3, "outcome", players=(ASH,)),
)  # fmt: skip


@pytest.mark.parametrize(("kind", "subject"), [("incident", "incident-1"), ("player", ASH)])
def test_what_was_withdrawn_answers_nothing_and_is_named_as_withdrawn(kind, subject):
    """In a player's own case nothing is withdrawn but what was of him."""
    _, rows, page = filed(kind, subject, WRONG)
    assert rows["Injury"].startswith("left eye: impact")
    assert rows["How it ended, as far as is known"] == "not recorded"
    told = re.findall(r"(\w+) at position (\d+): wrong person", rows["Withdrawn, as never so"])
    first = len(MORNING) + 1
    others = [("injury", str(first + 1))] if kind == "incident" else []
    assert told == [*others, ("outcome", str(first + 2))]
    assert "corrected or withdrawn at position" in page


def test_whoever_was_named_by_mistake_is_none_whom_the_incidents_case_is_about():
    rows = rows_of(WRONG)
    case, _ = gathered(rows, "incident", "incident-1")
    assert case.players == (ASH,)
    files, _, _ = filed(happened=WRONG)
    words = b"\n".join(content for name, content in files.items() if name != "report.pdf").decode()
    for secret in ("knee", "graze"):
        assert secret not in words, secret
    told = {one["position"]: one["sentence"] for one in json.loads(files["story.json"])["stories"][0]["events"]}
    assert ELM not in told[len(MORNING) + 4]


def test_in_the_case_of_whoever_was_named_by_mistake_it_says_that_it_was_withdrawn():
    wrong = IncidentRecorded(
        incident="incident-2", kind="injury", field="birch", game=None, players=(ELM,), markers=(), masks=(),
        emergency_services=False,
    )  # fmt: skip
    gone = EntryWithdrawn(
        incident="incident-2", entry=UUID(int=len(MORNING) + 1), kind="incident", slip="wrong_person", field="birch",
        game=None, players=(ELM,), persons=(), markers=(), masks=(), bottles=(),
    )  # fmt: skip
    _, rows, page = filed("player", ELM, (*MORNING, wrong, gone))
    assert f"withdrawn as it was recorded at position {len(MORNING) + 1}" in page
    assert rows["Withdrawn, as never so"].startswith(f"incident at position {len(MORNING) + 1}: wrong person")
    assert "Similar incidents" not in rows
