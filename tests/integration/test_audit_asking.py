"""Any moment and what if, asked over HTTP and from the terminal: who may ask, what is answered, and how a question is refused."""

import os
import subprocess
import sys
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from contracts.discipline import CautionRecorded
from tests.databases import PASSWORD
from tests.integration.live import Live
from tests.integration.terminal import terminal

pytestmark = [pytest.mark.timeout(400), pytest.mark.usefixtures("cautioned")]
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def cautioned(live: Live) -> int:
    """The position of a caution about player ash, who is otherwise not ready either."""
    for command, body in (
        ("registration/register-person", {"person": "person-ash", "age_band": 18}),
        (
            "registration/register-player",
            {"player": "ash", "person": "person-ash", "day_pass": "LM-1", "armband": 1},
        ),
        ("games/configure-field", {"field": "birch", "title": "Birch Wood"}),
        ("equipment/register-mask", {"mask": "mask-1", "model": "Visor"}),
        ("equipment/issue-gear", {"player": "ash", "mask": "mask-1"}),
    ):
        assert live.post(command, body).status_code == 201
    body = {"caution": "c1", "violation": "wiping", "player": "ash"}
    position: int = live.post("discipline/caution", body).json()["position"]
    return position


def get(live: Live, path: str, role: str = "auditor") -> Any:
    return live.get(f"/parks/{live.park}/audit/{path}", role)


def ask(live: Live, body: Any, role: str = "auditor") -> Any:
    return live.post("audit/what-if", body, role)


@pytest.mark.parametrize("path", ["clearance/ash?field=birch", "status", "replay"])
@pytest.mark.parametrize(("role", "status"), [("auditor", 200), ("manager", 200), ("desk", 403), ("board", 403)])
def test_the_past_is_for_auditors_and_managers(live, path, role, status):
    assert get(live, path, role).status_code == status


def test_a_clearance_is_told_on_both_axes(live, cautioned):
    at = f"1:{cautioned - 1}"
    answer = get(live, f"clearance/ash?field=birch&as_recorded={at}").json()
    assert "sitting_out" not in [one["code"] for one in answer["as_recorded"]["reasons"]]
    assert answer["as_recorded"]["basis"]["position"] == cautioned - 1
    now = get(live, "clearance/ash?field=birch").json()
    assert "sitting_out" in [one["code"] for one in now["as_recorded"]["reasons"]]
    assert now["differ"] is False


def test_the_status_is_told_on_both_axes(live):
    answer = get(live, "status").json()
    assert answer["as_recorded"]["players"]["registered"] == answer["as_happened"]["players"]["registered"] == 1
    assert answer["differences"] == answer["late"] == []


@pytest.mark.parametrize(
    ("path", "status", "where"),
    [
        ("clearance/ash", 400, "field"),
        ("clearance/a%20sh?field=birch", 400, "player"),
        ("clearance/ash?field=birch&as_recorded=noon", 400, "as_recorded"),
        ("clearance/ash?field=birch&as_happened=12", 400, "as_happened"),
        ("clearance/ash?field=birch&as_recorded=1:999999", 422, "as_recorded"),
        ("status?as_known=7:1", 422, "as_known"),
        ("replay?day=tomorrow", 400, "day"),
        ("replay?day=9999-12-31", 400, "day"),
        ("status?as_happened=0001-01-01T00:00:00Z", 400, "as_happened"),
        ("status?as_known=0001-01-01T00:00:00%2B14:00", 400, "as_known"),
        ("status?as_recorded=9999-12-31T23:59:59Z", 400, "as_recorded"),
    ],
)
def test_a_point_that_does_not_fit_is_refused_with_where(live, path, status, where):
    answer = get(live, path)
    assert (answer.status_code, answer.json()["where"]) == (status, where)


def test_what_if_tells_what_would_be_otherwise_and_writes_nothing(live, cautioned):
    head = live.head()
    answer = ask(live, {"void": [cautioned]})
    assert answer.status_code == 200
    told = answer.json()
    assert [(one["what"], one["was"], one["would_be"]) for one in told["consequences"]] == [("sit_outs_owed", 1, 0)]
    assert told["decisions"] == []
    assert told["void"] == [cautioned]
    assert live.head() == head


@pytest.mark.parametrize(
    ("body", "status", "where"),
    [
        ({}, 422, "$"),
        ({"void": [0]}, 422, "$.void[0]"),
        ({"void": list(range(1, 102))}, 422, "$.void"),
        ({"void": [1], "unknown": 1}, 422, "$"),
        ({"rules": {"version": "x", "masks": False}}, 422, "$.rules"),
        ({"void": [999_999]}, 422, "$.void"),
        ({"void": [1], "day": "9999-12-31"}, 400, "$.day"),
    ],
)
def test_a_question_that_cannot_be_asked_is_refused_with_where(live, body, status, where):
    answer = ask(live, body)
    assert (answer.status_code, answer.json()["where"]) == (status, where)


def test_a_question_for_others_is_not_answered(live, cautioned):
    assert ask(live, {"void": [cautioned]}, "desk").status_code == 403


def test_a_day_replayed_follows_from_its_record(live):
    answer = get(live, "replay").json()
    assert answer["decisions_seen"] == 1
    assert answer["doubtful"] == []


@pytest.fixture
def fieldledger(demo_day, tmp_path):
    return partial(terminal(demo_day.database, tmp_path), "audit")


def test_any_moment_and_what_if_are_asked_in_the_terminal(fieldledger, demo_day):
    (late,) = [
        one
        for one in demo_day.events
        if isinstance(one.data, CautionRecorded) and one.data.violation == "out-of-bounds"
    ]
    at = fieldledger("at", late.data.player, "quarry", "--as-happened", late.occurred_at.isoformat())
    assert at.returncode == 0, at.stderr
    assert f"(position {late.position}) arrived at {late.recorded_at:%H:%M}" in " ".join(at.stdout.split())
    assert f"As recorded, {late.occurred_at:%Y-%m-%d %H:%M:%S}+00:00, log up to" in at.stdout
    for wrong in ("12:40", "2026-11-28T12:40:00"):
        refused = fieldledger("at", late.data.player, "quarry", "--as-happened", wrong)
        assert refused.stderr.startswith(f"fieldledger: as_happened={wrong} is no instant with its offset")
    assert "A name here has" in fieldledger("at", "Zoë", "quarry").stderr
    wall = fieldledger("at", "--as-recorded", f"1:{late.position}")
    assert "Birch Wood: " in wall.stdout
    otherwise = fieldledger("what-if", "--void", str(late.position), "--void", str(late.position))
    assert "came to owe 1 sit-out; he would owe no sit-outs." in " ".join(otherwise.stdout.split())
    assert f"Without {late.position}: A caution was recorded against player {late.data.player}" in otherwise.stdout
    assert "Nothing was written." in " ".join(otherwise.stdout.split())
    empty = fieldledger("what-if", "--void", str(late.position), "--day", "2020-01-01").stderr
    assert f"Position {late.position} is not among those replayed, of which there are none." in empty
    assert "9999-12-31" in fieldledger("what-if", "--void", "1", "--day", "9999-12-31").stderr
    assert "must be" in fieldledger("what-if", "--void", str(10**30)).stderr.lower()
    assert "no instant" in fieldledger("what-if", "--void", "1", "--until", "2026-11-28T12:00").stderr
    refused = fieldledger("what-if")
    assert refused.returncode == 1
    assert refused.stderr.startswith("fieldledger: name events to leave out")


def test_a_day_is_replayed_in_the_terminal(fieldledger, demo_day):
    ran = fieldledger("replay", str(demo_day.events[0].day))
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.endswith("Each follows from what was recorded before it.\n")
    assert fieldledger("replay").stdout == ran.stdout, "the record's own day, not this machine's"
    assert "no decision was recorded on that day" in fieldledger("replay", "2020-01-01").stdout
    assert "9999-12-31" in fieldledger("replay", "9999-12-31").stderr


@pytest.mark.parametrize("words", [("audit", "replay"), ("audit", "case", "player", "ash"), ("check",), ("rebuild",)])
def test_a_database_that_is_not_up_is_said_in_a_sentence(words, tmp_path):
    (tmp_path / "service.secret").write_text(PASSWORD)
    environment = os.environ | {
        "DATABASE_URL": "postgresql://nobody@127.0.0.1:1/none",
        "FIELDLEDGER_STATE": str(tmp_path),
    }
    command = [sys.executable, "-m", "deploy.main", *words]
    ran = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert ran.returncode == 1
    assert ran.stderr.startswith("fieldledger: the database cannot be reached")
    assert "Traceback" not in ran.stderr


def test_rules_under_which_no_park_could_work_are_no_question(live):
    answer = ask(live, {"rules": {"version": "elsewhere", "time_zone": "rx--n"}})
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/rule-forbids")
    assert "There is no time zone rx--n" in answer.json()["detail"]
