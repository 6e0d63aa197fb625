"""Six Saturdays of a small fleet against real servers: what to test again first, what creeps and stops, and the rows that say so."""

from collections import Counter
from datetime import UTC, date, datetime, timedelta
from random import Random

import msgspec
import pytest
import uvloop

from contracts import leaf
from contracts.equipment import GearIssued
from contracts.fleet import FleetReport, Retests
from contracts.velocity import MarkerTested
from deploy import upkeep
from deploy.demo.clock import RunningClock
from services.velocity.hired import FLEET
from services.velocity.history import HISTORY, Read
from tests.databases import Databases
from tests.integration.live import Live, serving
from tests.integration.terminal import terminal

pytestmark = pytest.mark.timeout(240)
FIRST = datetime(2026, 5, 2, 9, tzinfo=UTC)
SATURDAYS = 6
MARKERS = tuple(f"H{number}" for number in range(1, 7))
CREEPS, JAMS = "H3", "H5"
GAINS = 1.5


class Season:
    """The park's station, whose clock the test moves."""

    def __init__(self, live: Live, clock: RunningClock) -> None:
        self.live, self.clock = live, clock
        self.random = Random(3)  # noqa: S311 - a load, not a secret
        self.names = iter(range(10_000))

    def post(self, command, **body):
        answer = self.live.post(command, body)
        assert answer.status_code == 201, answer.text

    def at(self, saturday: int, hours: float):
        self.clock.set(FIRST + timedelta(days=7 * saturday, hours=hours))

    def string(self, marker: str, played: float):
        level = 262 + (GAINS * played if marker == CREEPS else 0)
        readings = [round(self.random.gauss(level, 2), 1) for _ in range(3)]
        self.post(
            "velocity/test-marker", test=f"t{next(self.names)}", marker=marker, chrono="bench-1", readings_fps=readings
        )

    def check(self):
        self.post("velocity/check-chrono", chrono="bench-1", readings_fps=[250.1] * 3, reference_fps=[250.0] * 3)

    def play(self, saturday: int):
        """A day of four hours: each marker is read at nine, given out twice, and read again at one; one of them jams."""
        self.at(saturday, 0)
        self.check()
        player = f"p{saturday}"
        self.post(
            "registration/register-player",
            player=player,
            person="ada",
            day_pass=f"P{saturday}",
            armband=1,
        )
        for marker in MARKERS:
            self.string(marker, 4 * saturday)
        for round_ in (1, 2):
            for marker in MARKERS:
                self.at(saturday, round_)
                self.post("equipment/issue-gear", player=player, marker=marker)
                if marker == JAMS:
                    self.post("equipment/quarantine-gear", marker=marker, fault="jam")
                self.post("equipment/return-gear", player=player, marker=marker)
                if marker == JAMS:
                    self.post("equipment/release-gear", marker=marker)
                    self.string(marker, 0)
        self.at(saturday, 4)
        self.check()
        for marker in MARKERS:
            self.string(marker, 4 * saturday + 4)


@pytest.fixture(scope="module")
def season(databases: Databases, nats_urls):
    """The park at one o'clock of the sixth Saturday, when one marker is out and was read on the field."""
    database, clock = databases.create(), RunningClock(FIRST - timedelta(hours=1))
    with serving(database, nats_urls, clock) as live:
        made = Season(live, clock)
        made.post("games/configure-field", field="birch", title="Birch Wood")
        made.post("games/configure-field", field="fern", title="Fern", limit_fps=230, calibres=[".50"])
        made.post("registration/register-person", person="ada", age_band=18)
        made.post("velocity/register-chrono", chrono="bench-1")
        for marker in MARKERS:
            made.post("equipment/register-marker", marker=marker, model="Heron")
        for saturday in range(SATURDAYS):
            made.play(saturday)
        made.post("equipment/issue-gear", player=f"p{SATURDAYS - 1}", marker="H1")
        made.post("equipment/register-marker", marker="own", owner=f"p{SATURDAYS - 1}", model="Wren", calibre=".50")
        made.post("velocity/spot-check-marker", check="c1", marker="H2", field="birch", speed_fps=279)
        yield made, database
    databases.drop(database)


@pytest.fixture(scope="module")
def live(season):
    return season[0].live


def asked(live, path, role="gear"):
    separator = "&" if "?" in path else "?"
    answer = live.get(f"/parks/{live.park}/velocity/{path}{separator}at_least=1:{live.head()}", role)
    assert answer.status_code == 200, answer.text
    return answer.content


def report(live, query=""):
    return msgspec.json.decode(asked(live, f"fleet{query}"), type=FleetReport)


def found(told):
    return {(one.name, result.kind) for one in told.markers for result in one.results if result.found}


def test_the_marker_that_creeps_and_the_one_that_jams_are_found_and_no_other(live):
    told = report(live)
    assert found(told) == {(CREEPS, "creep"), (JAMS, "stoppage")}
    (creep,) = [result for one in told.markers if one.name == CREEPS for result in one.results if result.found]
    assert creep.estimate == pytest.approx(GAINS, abs=0.2)
    assert {one.name for one in told.markers} == set(MARKERS)
    assert [(one.name, one.markers) for one in told.models] == [("Heron", len(MARKERS))]


def test_the_report_counts_what_the_log_holds(live):
    events = [leaf.decode(live.leaf(position)).data for position in range(1, live.head() + 1)]
    uses = Counter(one.marker for one in events if isinstance(one, GearIssued))
    strings = Counter(one.marker for one in events if isinstance(one, MarkerTested))
    told = {one.name: (one.uses, one.strings) for one in report(live).markers}
    assert told == {marker: (uses[marker], strings[marker]) for marker in MARKERS}


def test_only_the_days_asked_for_are_looked_at(live):
    day = (FIRST + timedelta(days=7)).date()
    told = report(live, f"?since={day}&until={day}")
    assert (told.since, told.until) == (day, date(2026, 5, 9))
    assert {one.strings for one in told.markers} == {2, 4}


def test_those_in_hands_come_first_then_those_that_came_nearest(live):
    told = msgspec.json.decode(asked(live, "retests?field=birch"), type=Retests)
    assert told.position == live.head()
    assert [one.marker for one in told.markers][:2] == ["H1", CREEPS]
    assert (told.markers[0].holder, told.markers[1].holder) == (f"p{SATURDAYS - 1}", None)
    second = next(one for one in told.markers if one.marker == "H2")
    assert "then 279 at 13:00" in second.sentence
    risks = [one.risk for one in told.markers[1:]]
    assert risks == sorted(risks, reverse=True)
    assert risks[0] > 0.5


def test_a_field_is_asked_for_markers_of_its_calibre(live):
    told = msgspec.json.decode(asked(live, "retests?field=fern"), type=Retests)
    assert [(one.marker, one.risk, one.limit_fps) for one in told.markers] == [("own", 1.0, 230.0)]
    assert told.markers[0].sentence == "Nothing was read of its present set-up."


@pytest.mark.parametrize(
    ("path", "status", "where"),
    [
        ("retests", 400, "field"),
        ("retests?field=nowhere", 404, "field:nowhere"),
        ("retests?field=%20", 400, "field"),
        ("fleet?since=tomorrow", 400, "since"),
        ("fleet?since=2026-05-09&until=2026-05-02", 400, "since"),
    ],
)
def test_a_question_that_does_not_fit_is_refused_with_what_to_do(live, path, status, where):
    answer = live.get(f"/parks/{live.park}/velocity/{path}", "chrono")
    assert (answer.status_code, answer.json()["where"]) == (status, where)
    assert answer.json()["detail"]


@pytest.mark.parametrize(("role", "statuses"), [("gear", (200, 200)), ("referee", (200, 403)), ("desk", (403, 403))])
def test_who_may_ask(live, role, statuses):
    paths = ("retests?field=birch", "fleet")
    assert tuple(live.get(f"/parks/{live.park}/velocity/{path}", role).status_code for path in paths) == statuses


def test_the_rows_are_what_the_log_says_and_are_made_again_from_it(season):
    made, database = season
    told: list[str] = []
    assert uvloop.run(upkeep.check_all(database.url, told.append)), told
    assert f"{made.live.park} fleet: as the log says" in told
    before = report(made.live)
    uvloop.run(upkeep.rebuild_all(database.url, told.append))
    assert f"{made.live.park} fleet: made again from the log" in told
    assert report(made.live) == before


def test_a_row_is_its_markers_history(live):
    events = [leaf.decode(live.leaf(position)) for position in range(1, live.head() + 1)]
    states = {}
    FLEET.apply(events, states)
    history, _ = states["marker:H2"]
    assert history == HISTORY.over("H2", [event for event in events if "marker:H2" in event.tags])
    assert len([one for one in history.entries if isinstance(one, Read)]) == 2 * SATURDAYS


def test_the_report_is_told_in_the_terminal(season, tmp_path):
    made, database = season
    fieldledger = terminal(database, tmp_path)
    ran = fieldledger("fleet")
    assert ran.returncode == 0, ran.stderr
    lines = ran.stdout.splitlines()
    assert lines[0].startswith("6 hired markers, from the first day that is kept to today; ")
    assert any(line.startswith(f"{CREEPS} gains +1.") for line in lines)
    assert any(line.startswith(f"{JAMS} was stopped 12 times in 12 uses (jam 12)") for line in lines)
    assert any(line.startswith(f"{CREEPS} ") and line.endswith("creep") for line in lines)
    same = fieldledger("fleet", "--json", "--park", made.live.park)
    assert msgspec.json.decode(same.stdout, type=FleetReport) == report(made.live)
