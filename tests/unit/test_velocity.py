"""The rules of the chronograph bench. Figures are common practice, no source, unless a test names one."""

from datetime import timedelta

import pytest

from contracts.equipment import MarkerRegistered
from contracts.games import FieldConfigured
from contracts.limits import Limit
from contracts.park import RulesAdopted, WeatherRecorded
from contracts.problems import UnknownSubject
from contracts.rules import Rules, VelocityRules
from contracts.velocity import (
    ChangeSetUp,
    CheckChrono,
    RegisterChrono,
    SpotCheckMarker,
    TestMarker,
)
from services.velocity import model
from services.velocity.api import SERVICE
from services.velocity.states import BENCH, CHRONO, WEATHER, Limits
from tests.unit.scenario import NINE, Scenario
from tests.unit.strings import said


def marker(owner: str | None = None, gas: str = "air") -> MarkerRegistered:
    return MarkerRegistered(marker="m1", owner=owner, model="Heron", calibre=".68", firing_mode="semi", gas=gas)


def field(name: str, limit: float, stop: float = 300.0) -> FieldConfigured:
    return FieldConfigured(
        field=name,
        title=name,
        limit_fps=limit,
        stop_limit_fps=stop,
        age_floor=12,
        calibres=(".68",),
        firing_modes=("semi",),
        capacity=40,
        limit=Limit(),
    )


@pytest.fixture
def bench() -> Scenario:
    scenario = Scenario(SERVICE.handlers).given(marker(), field("birch", 285), field("fern", 260))
    scenario.when(RegisterChrono(chrono="c1"))
    scenario.when(CheckChrono(chrono="c1", good=True))
    return scenario.at(10)


def tested(scenario: Scenario, *readings: float, **more: object) -> None:
    scenario.when(TestMarker(test="t", marker="m1", chrono="c1", readings_fps=readings, **more))


def codes(scenario: Scenario, limit: float = 285, since: object = None) -> list[str]:
    bench = scenario.state(BENCH, "m1")
    chronos = {one.chrono: scenario.state(CHRONO, one.chrono) for one in bench.tests}
    found = model.reasons(
        bench, chronos, Limits("asked", limit, 300.0), scenario.state(WEATHER), scenario.moment(), since
    )
    return [one.code for one in found]


def test_three_readings_strictly_under_the_limit_pass(bench):
    tested(bench, 281.4, 279.0, 284.9)
    assert codes(bench) == []


def test_a_reading_exactly_at_the_limit_is_too_fast(bench):
    tested(bench, 281, 285, 279)
    assert codes(bench) == ["too_fast"]


@pytest.mark.parametrize(("comparison", "bound"), [("<", "under"), ("<=", "at most")])
def test_whose_marker_is_too_fast_reads_what_the_park_allows_and_what_to_do(bench, comparison, bound):
    bench.given(RulesAdopted(rules=Rules(version="house", velocity=VelocityRules(comparison=comparison))))
    tested(bench, 286, 281, 279)
    of_marker, chronos = bench.state(BENCH, "m1"), {"c1": bench.state(CHRONO, "c1")}
    (too_fast,) = model.reasons(
        of_marker, chronos, Limits("birch", 285.0, 300.0), bench.state(WEATHER), bench.moment(), None
    )
    assert too_fast.sentence == (
        f"Your marker shoots too fast for this field. 286 ft/s was measured; it must be {bound} 285 ft/s. "
        "Turn it down, record that, and test it again."
    )


def test_under_the_rule_of_at_most_a_reading_exactly_at_the_limit_passes():
    rules = model.VelocityRules(comparison="<=")
    assert said((281, 285, 279), 285, rules) == "pass"
    assert said((281, 285.1, 279), 285, rules) == "turn_down"


def test_one_string_serves_the_faster_field_and_not_the_slower(bench):
    tested(bench, 262, 259, 258)
    assert codes(bench, 285) == []
    assert codes(bench, 260) == ["too_fast"]


@pytest.mark.parametrize(
    "readings", [(280, 281), (280, 281, 240), (281, 280, 119)], ids=["too few", "wide spread", "suspiciously slow"]
)
def test_a_doubtful_string_decides_nothing(bench, readings):
    tested(bench, *readings)
    assert codes(bench) == ["test_inconclusive"]


def test_a_high_reading_turns_down_even_where_the_pressure_was_low(bench):
    tested(bench, 290, 200, 150, low_pressure=True)
    assert codes(bench) == ["too_fast"]


def test_a_high_reading_is_not_shot_away_until_the_set_up_has_changed(bench):
    tested(bench, 281, 286, 283)
    bench.at(12)
    tested(bench, 281, 282, 283)
    assert codes(bench) == ["too_fast"]
    bench.at(13).when(ChangeSetUp(marker="m1", change="adjuster"))
    assert codes(bench) == ["test_voided"]
    bench.at(14)
    tested(bench, 279, 280, 281)
    assert codes(bench) == []


@pytest.mark.parametrize(
    "change", ["adjuster", "regulator", "bolt", "barrel", "bottle", "gas", "paint", "repair", "firing_mode"]
)
def test_every_change_that_moves_the_velocity_voids_the_test(bench, change):
    tested(bench, 280, 281, 282)
    bench.at(11).when(ChangeSetUp(marker="m1", change=change))
    assert codes(bench) == ["test_voided"]


@pytest.mark.parametrize("change", ["refill", "squeegee", "hopper", "battery"])
def test_what_leaves_the_velocity_alone_keeps_the_test(bench, change):
    tested(bench, 280, 281, 282)
    bench.at(11).when(ChangeSetUp(marker="m1", change=change))
    assert codes(bench) == []


def test_a_change_reported_late_voids_the_test_that_came_after_it_was_reported_but_not_the_one_after_it_happened(bench):
    tested(bench, 280, 281, 282)
    bench.at(30).when(ChangeSetUp(marker="m1", change="barrel", occurred_at=NINE + timedelta(minutes=5)))
    assert codes(bench) == []
    bench.when(ChangeSetUp(marker="m1", change="barrel", occurred_at=NINE + timedelta(minutes=20)))
    assert codes(bench) == ["test_voided"]


def test_a_spot_check_over_the_bench_limit_sends_the_marker_to_be_tested_again(bench):
    tested(bench, 280, 281, 282)
    (under,) = bench.at(20).when(SpotCheckMarker(check="s1", marker="m1", field="birch", speed_fps=284.9))
    (over,) = bench.when(SpotCheckMarker(check="s2", marker="m1", field="birch", speed_fps=285))
    (stop,) = bench.when(SpotCheckMarker(check="s3", marker="m1", field="birch", speed_fps=300))
    assert [one.finding for one in (under, over, stop)] == ["under", "over_bench", "over_stop"]
    assert codes(bench) == ["spot_check_failed"]


def test_an_own_marker_is_tested_for_ten_hours_and_for_one_visit(bench):
    bench.given(marker(owner="p1"))
    tested(bench, 280, 281, 282)
    assert codes(bench.at(10 + 600)) == []
    assert codes(bench.at(10 + 601)) == ["test_expired"]
    assert codes(bench.at(30), since=NINE + timedelta(minutes=15)) == ["test_expired"]


def test_a_hired_marker_that_was_sealed_stays_tested_overnight_and_one_that_was_not_does_not(bench):
    tested(bench, 280, 281, 282, sealed=True)
    assert codes(bench.at(24 * 60)) == []
    bench.when(CheckChrono(chrono="c1", good=True))
    tested(bench.at(24 * 60 + 1), 280, 281, 282)
    assert codes(bench.at(48 * 60)) == ["test_expired"]


def test_a_chronograph_without_a_good_check_before_it_clears_nobody():
    scenario = Scenario(SERVICE.handlers).given(marker())
    scenario.when(RegisterChrono(chrono="c1"))
    tested(scenario, 280, 281, 282)
    assert codes(scenario) == ["chrono_untrusted"]


def test_a_chronograph_found_wrong_with_its_bias_unknown_clears_none_since_its_last_good_check(bench):
    tested(bench, 250, 251, 252)
    bench.at(60).when(CheckChrono(chrono="c1", good=False))
    assert codes(bench) == ["chrono_untrusted"]


def test_a_chronograph_that_read_four_low_clears_only_markers_that_pass_with_the_four_added(bench):
    tested(bench, 279, 280, 280.9)
    bench.at(60).when(CheckChrono(chrono="c1", good=False, bias_fps=-4))
    assert codes(bench) == []
    assert codes(bench, 284.9) == ["chrono_untrusted"]


def test_readings_from_before_the_last_good_check_stay_good(bench):
    tested(bench, 279, 280, 284)
    bench.at(50).when(CheckChrono(chrono="c1", good=True))
    bench.at(60).when(CheckChrono(chrono="c1", good=False))
    assert codes(bench) == []


def test_a_rise_in_temperature_voids_co2_sooner_than_air(bench):
    tested(bench, 280, 281, 282, temperature_c=14)
    bench.given(WeatherRecorded(temperature_c=21))
    assert codes(bench) == []
    bench.given(marker(gas="co2"))
    assert codes(bench) == ["warmer_since_test"]


def test_an_unknown_marker_or_chronograph_is_named():
    with pytest.raises(UnknownSubject, match="marker m1"):
        tested(Scenario(SERVICE.handlers), 280)
