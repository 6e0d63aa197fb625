"""Which markers to test again first: the risk rises with everything that may have moved a marker, and says so in words."""

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from scipy import stats

from contracts.games import FieldConfigured
from contracts.limits import Limit
from contracts.park import RulesAdopted, WeatherRecorded
from contracts.rules import Rules
from contracts.velocity import ChronoChecked, ChronoRegistered
from services.velocity.creep import Gain
from services.velocity.history import HISTORY
from services.velocity.metrology.strings import Pooled, Summary, summarize
from services.velocity.retests import Known, Since, in_order, retest, risk
from services.velocity.states import BENCH, CHRONO, LIMITS, WEATHER
from tests.unit.marker_days import changed, issued, registered, returned, spot, string
from tests.unit.scenario import NINE, Scenario

CREEPS = Gain(of=12, slope=2.0, error=0.3, degrees=9, p=0.0001)
MAYBE = Gain(of=4, slope=9.0, error=6.0, degrees=2, p=0.1)
SD = Pooled(3.0, 60)


def checked(bias=0.0, *, good=True, chrono="bench-1"):
    return ChronoChecked(
        chrono=chrono, good=good, bias_fps=bias, readings_fps=(250.0 + bias,) * 3, reference_fps=(250.0,) * 3,
        signals=() if good else ("bias",),
    )  # fmt: skip


@pytest.fixture
def park():
    """A field of 285 ft/s, a chronograph that was checked at nine, and a hired marker."""
    field = FieldConfigured(
        field="birch", title="Birch", limit_fps=285.0, stop_limit_fps=300.0, limit=Limit(), age_floor=12,
        calibres=(".68",), firing_modes=("semi",), capacity=40,
    )  # fmt: skip
    return Scenario().given(field, ChronoRegistered(chrono="bench-1"), checked(), registered()).at(2)


def asked(park, gain=None, model_gain=None, model_sd=SD, marker="m1"):
    known = Known(park.state(HISTORY, marker), park.state(BENCH, marker), gain, model_gain, model_sd)
    chronos = {"bench-1": park.state(CHRONO, "bench-1")}
    return retest(known, chronos, park.state(LIMITS, "birch"), park.state(WEATHER), park.moment())


# the risk


def of(mean, sd=3.0, n=3):
    return Summary(n, mean, sd, sd, mean + sd)


speeds = st.floats(200, 320)
us = st.floats(0, 3)
sds = st.floats(0.1, 15)
parts = {
    "hours": st.floats(0, 12),
    "gain_fps_h": st.floats(0, 8),
    "rise_c": st.floats(0, 25),
    "warmth_fps_c": st.floats(0, 2),
    "low_fps": st.floats(0, 15),
    "spot_fps": st.floats(0, 320),
}
sinces = st.builds(Since, **parts)


@settings(max_examples=300, deadline=None)
@given(sinces, st.sampled_from(sorted(parts)), st.floats(0, 20), st.builds(of, speeds, sds, st.integers(2, 20)), us)
def test_whatever_may_have_moved_a_marker_never_lowers_its_risk(since, part, more, read, u):
    before = risk(read, since, 285.0, u)
    after = risk(read, replace(since, **{part: getattr(since, part) + more}), 285.0, u)
    assert after >= before - 1e-9


@settings(max_examples=200, deadline=None)
@given(sinces, speeds, st.floats(0, 20), sds, st.integers(2, 20))
def test_a_faster_string_or_a_stricter_limit_never_lowers_it(since, mean, more, sd, n):
    before = risk(of(mean, sd, n), since, 285.0, 1.0)
    assert risk(of(mean + more, sd, n), since, 285.0, 1.0) >= before - 1e-9
    assert risk(of(mean, sd, n), since, 285.0 - more, 1.0) >= before - 1e-9


@settings(max_examples=200, deadline=None)
@given(sinces, st.floats(200, 260), sds, st.floats(0, 5), st.integers(3, 12))
def test_a_wider_spread_or_fewer_readings_never_lower_it_under_the_limit(since, mean, sd, more, n):
    limit = since.expected(mean) + 1
    before = risk(of(mean, sd, n), since, limit, 1.0)
    assert risk(of(mean, sd + more, n), since, limit, 1.0) >= before - 1e-9
    assert risk(of(mean, sd, n - 1), since, limit, 1.0) >= before - 1e-9


def test_with_nothing_since_it_is_students_probability_of_the_next_shot():
    """SciPy's t distribution: three readings of mean 270 and sd 5, limit 285, a chronograph without uncertainty."""
    assert risk(of(270.0, 5.0), Since(), 285.0, 0.0) == pytest.approx(stats.t.sf(15 / (5 * (4 / 3) ** 0.5), 2))


def test_what_a_chronograph_read_low_adds_to_the_greater_of_gain_and_warmth_and_a_faster_spot_check_counts_instead():
    since = Since(hours=3, gain_fps_h=2, rise_c=6, warmth_fps_c=0.5, low_fps=4)
    assert since.expected(270.0) == 270 + 6 + 4
    assert replace(since, rise_c=16).expected(270.0) == 270 + 8 + 4
    assert replace(since, spot_fps=281.0).expected(270.0) == 281
    assert replace(since, spot_fps=275.0).expected(270.0) == 280


# a marker


def test_a_marker_just_tested_is_told_with_its_margin(park):
    park.given(string(268.0, 270.0, 272.0))
    found = asked(park)
    assert (found.expected_fps, found.limit_fps, found.holder) == (270.0, 285.0, None)
    assert (
        found.sentence
        == f"Read 270 at 09:02, 15 under 285 ft/s. About {100 * found.risk:.0f} in 100 that the next shot is over."
    )
    assert 0.005 < found.risk < 0.05


def test_a_spot_check_that_came_nearer_is_told_as_such(park):
    park.given(string(267.0, 268.0, 269.0)).at(305).given(spot(279.0))
    found = asked(park)
    assert found.sentence.startswith("11 ft/s nearer than at 09:02: read 268, then 279 at 14:05. About ")
    assert found.expected_fps == 279.0


def test_one_far_under_the_limit_is_said_to_be_hardly_over(park):
    park.given(string(230.0, 230.5, 231.0))
    assert asked(park).sentence == "Read 230 at 09:02, 55 under 285 ft/s. The next shot is hardly over."


def test_times_are_the_parks_own(park):
    park.given(RulesAdopted(rules=Rules(version="v1", time_zone="Europe/London")), string(268.0, 270.0, 272.0))
    assert "at 10:02" in asked(park).sentence


def test_its_own_gain_counts_where_it_is_plain_else_its_models_else_none(park):
    park.given(string(268.0, 270.0, 272.0)).at(182)
    model = replace(CREEPS, slope=1.0)
    assert asked(park, CREEPS, model).expected_fps == pytest.approx(276.0)
    assert asked(park, MAYBE, model).expected_fps == pytest.approx(273.0)
    assert asked(park, MAYBE, MAYBE).expected_fps == 270.0
    assert asked(park, None, replace(CREEPS, slope=-2.0)).expected_fps == 270.0
    assert (
        "; its model gains 1.0 ft/s an hour, and it is 3.0 hours since its string. About"
        in asked(park, MAYBE, model).sentence
    )
    assert "; it gains 2.0 ft/s an hour" in asked(park, CREEPS, model).sentence


def test_a_spot_check_gains_from_when_it_was_taken(park):
    park.given(string(267.0, 268.0, 269.0)).at(62).given(spot(275.0)).at(122)
    assert asked(park, CREEPS).expected_fps == pytest.approx(275 + 2)


def test_hours_of_another_day_count_but_the_night_does_not(park):
    park.given(string(268.0, 270.0, 272.0)).at(122).given(returned("p1"))
    park.at(20 * 60)
    assert asked(park, CREEPS).expected_fps == pytest.approx(270 + 2 * 2)
    park.at(24 * 60).given(issued("p2")).at(24 * 60 + 60)
    assert asked(park, CREEPS).expected_fps == pytest.approx(270 + 2 * 3)


def test_a_rise_as_wide_as_the_rules_allow_is_reckoned_as_one_turn(park):
    park.given(replace(string(268.0, 270.0, 272.0), temperature_c=10.0), WeatherRecorded(temperature_c=22.0))
    found = asked(park)
    assert found.expected_fps == 275.0
    assert "; 12 °C warmer. About" in found.sentence
    park.given(replace(registered(), gas="co2"))
    assert asked(park).expected_fps == 280.0
    park.given(WeatherRecorded(temperature_c=2.0))
    assert asked(park).expected_fps == 270.0


def test_a_chronograph_found_to_read_low_moves_what_it_measured(park):
    park.given(string(268.0, 270.0, 272.0)).at(60).given(checked(-4.0, good=False))
    found = asked(park)
    assert found.expected_fps == 274.0
    assert "; bench-1 was found to read 4.0 ft/s low. About" in found.sentence


def test_one_found_to_read_high_moves_nothing(park):
    park.given(string(268.0, 270.0, 272.0)).at(60).given(checked(4.0, good=False))
    assert asked(park).expected_fps == 270.0


def test_what_was_read_while_the_chronograph_was_closed_counts_for_nothing(park):
    park.given(checked(-4.0, good=False)).at(5).given(string(230.0, 231.0, 232.0))
    found = asked(park)
    assert (found.risk, found.expected_fps) == (1.0, None)
    assert found.sentence == "What was read of it on bench-1 does not count: closed."


def test_a_marker_of_which_nothing_was_read_since_its_set_up_changed_has_the_whole_risk(park):
    assert asked(park).sentence == "Nothing was read of its present set-up."
    park.given(string(268.0, 270.0, 272.0)).at(5).given(changed("barrel"))
    found = asked(park)
    assert (found.risk, found.sentence) == (1.0, "Nothing was read of its present set-up (changed: barrel).")


def test_a_string_at_low_pressure_does_not_count(park):
    park.given(string(230.0, 231.0, 232.0, low=True))
    assert asked(park).risk == 1.0


def test_one_reading_scatters_as_its_model_does(park):
    park.given(string(270.0))
    assert asked(park).risk == pytest.approx(risk(Summary(61, 270.0, 3.0, 0.0, 270.0), Since(), 285.0, 1.0))
    assert asked(park, model_sd=None).risk == 1.0


# the order


def test_those_in_somebodys_hands_today_come_first_then_by_risk(park):
    park.given(registered("m2"), registered("m3"), registered("m4"))
    park.at(-24 * 60).given(issued("p9", "m4")).at(4)
    for marker, speed in (("m1", 268.0), ("m2", 275.0), ("m3", 281.0), ("m4", 283.0)):
        park.given(string(speed, speed + 1, speed + 2, marker=marker))
    park.given(issued("p1", "m1"), issued("p2", "m2"))
    found = in_order([asked(park, marker=marker) for marker in ("m1", "m2", "m3", "m4")])
    assert [(one.marker, one.holder) for one in found] == [("m2", "p2"), ("m1", "p1"), ("m4", None), ("m3", None)]
    assert found[2].risk > found[3].risk > found[0].risk > found[1].risk


def test_the_risk_of_one_that_creeps_grows_until_it_is_over(park):
    park.given(string(268.0, 270.0, 272.0), issued("p1"))
    risks = [asked(park.at(2 + 60 * hours), CREEPS).risk for hours in range(9)]
    assert risks == sorted(risks)
    assert risks[0] < 0.02
    assert risks[-1] > 0.5
    assert summarize((268.0, 270.0, 272.0)).mean_fps + 2 * 8 == asked(park, CREEPS).expected_fps
    assert park.now - NINE == timedelta(minutes=482)
