"""A case about an injury says what is known of the chronograph either side of the string that the marker passed on."""

import re
from datetime import timedelta

import pytest

from contracts.velocity import AdjustChrono, ChronoAdjusted, ChronoChecked, MarkerTested, ReadingTaken, RegisterChrono
from services.audit.cases import archive
from services.audit.cases.case import case_file
from services.audit.cases.sides import sides
from services.velocity.api import SERVICE
from tests.unit.case_park import MORNING, evidence_of, gathered, rows_of
from tests.unit.instruments import agrees, checks
from tests.unit.scenario import NINE, Scenario

STRAY = ReadingTaken(chrono="chrono-a", test=None, marker=None, speed_fps=281.0, misread=None, source="instrument")
BUSY = (STRAY,) * 450
"""More shots of others on the same chronograph than a case looks through."""


STRING = MarkerTested(
    test="t1", marker="m1", chrono="c1", readings_fps=(280.0,), misreads=(), low_pressure=False, sealed=False,
    temperature_c=None, ball_g=None, rate_bps=None,
)  # fmt: skip


@pytest.fixture
def bench() -> Scenario:
    """A good check at nine, a string at half past."""
    scenario = Scenario(SERVICE.handlers)
    scenario.when(RegisterChrono(chrono="c1"))
    scenario.when(RegisterChrono(chrono="c2"))
    agrees(scenario)
    scenario.at(30).given(STRING)
    return scenario


def found(bench: Scenario) -> tuple[float | None, int, float | None]:
    """The bias before, how much work between, the bias after."""
    (test,) = (one for one in bench.events if isinstance(one.data, MarkerTested))
    either = sides(test, bench.events)
    before, after = (one and one.data.bias_fps for one in (either.before, either.after))
    return before, len(either.works), after


def test_the_nearest_check_on_either_side_is_told(bench):
    checks(bench.at(60), -1, -1, -1)
    checks(bench.at(90), -2, -2, -2)
    assert found(bench) == (0.0, 0, -1.0)


def test_checks_that_were_told_late_are_on_the_side_on_which_they_happened(bench):
    checks(bench.at(60), -1, -1, -1)
    checks(bench.at(90), -2, -2, -2, occurred_at=NINE + timedelta(minutes=20))
    checks(bench.at(91), 1, 1, 1, occurred_at=NINE + timedelta(minutes=40))
    assert found(bench) == (-2.0, 0, 1.0)


def test_a_check_of_too_few_shots_is_on_no_side(bench):
    checks(bench.at(40), 0.5)
    assert found(bench) == (0.0, 0, None)


def test_the_work_between_them_is_told_and_no_other(bench):
    for minute in (-5, 40, 70):
        bench.at(80).when(AdjustChrono(chrono="c1", work="battery", occurred_at=NINE + timedelta(minutes=minute)))
    bench.when(AdjustChrono(chrono="c2", work="sensor", occurred_at=NINE + timedelta(minutes=41)))
    assert found(bench) == (0.0, 2, None)
    checks(bench, -1, -1, -1, occurred_at=NINE + timedelta(minutes=60))
    assert found(bench) == (0.0, 1, -1.0)


def reported(happened) -> dict[str, str]:
    rows = rows_of(happened)
    case, stories = gathered(rows, "incident", "incident-1")
    page = archive.unpacked(case_file(case, stories, evidence_of(rows, case)))["report.html"].decode()
    return dict(re.findall(r"<tr><td>([^<]*)</td><td>([^<]*)</td>", page))


def test_the_report_gives_readings_and_references_however_busy_the_bench_was():
    opening = ChronoChecked(
        chrono="chrono-a", good=True, bias_fps=0.5, readings_fps=(280.5, 281.0, 280.0), reference_fps=(280.0, 280.5, 279.5), signals=()
    )  # fmt: skip
    closing = ChronoChecked(
        chrono="chrono-a", good=False, bias_fps=-4.0, readings_fps=(276.0,), reference_fps=(280.0,), signals=("too_few", "bias")
    )  # fmt: skip
    test = next(number for number, one in enumerate(MORNING) if isinstance(one, MarkerTested))
    told = reported((*MORNING[:5], opening, *MORNING[6:test], *BUSY, *MORNING[test:], *BUSY, closing))
    assert told["Chronograph checked before"].startswith(
        "chrono-a: good, bias +0.5 ft/s, read 280.5, 281, 280 where the reference read 280, 280.5, 279.5 ft/s ("
    )
    assert told["Chronograph checked after"].startswith(
        "chrono-a: bad (too few shots and it is further off than the rule allows), bias -4 ft/s, read 276 where the reference read 280 ft/s ("
    )
    assert "Chronograph worked on between" not in told


def test_the_report_tells_of_work_that_hides_what_was_read_before():
    told = reported((*MORNING, ChronoAdjusted(chrono="chrono-a", work="sensor")))
    assert told["Chronograph worked on between"].startswith("chrono-a: sensor (")
    assert told["Chronograph checked after"] == "not recorded"
