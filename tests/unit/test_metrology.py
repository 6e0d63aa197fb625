"""The bench's mathematics at its edges: one reading, no spread, no instrument error, parameters that mean nothing."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.velocity.metrology.bounds import probability_over, stated_risk, tolerance_bound, upper_bound
from services.velocity.metrology.charts import ewma, individuals, shewhart
from services.velocity.metrology.drift import trend
from services.velocity.metrology.paired import compare
from services.velocity.metrology.strings import Summary, pooled, summarize
from services.velocity.metrology.units import fps_from_joules


def string(n, mean, sd):
    return Summary(n=n, mean_fps=mean, sd_fps=sd, extreme_spread_fps=0, highest_fps=mean)


def test_one_reading_has_a_highest_and_nothing_that_needs_a_spread():
    one = summarize((281.0,))
    assert (one.n, one.mean_fps, one.sd_fps, one.extreme_spread_fps) == (1, 281.0, None, 0)
    assert upper_bound(one, "every", risk=0.05, instrument_u=1) == 281.0
    assert upper_bound(one, "mean", risk=0.05, instrument_u=1) is None
    assert upper_bound(one, "next_shot", risk=0.05, instrument_u=1) is None
    assert probability_over(one, 285, instrument_u=1) is None
    assert tolerance_bound(one, share=0.95, confidence=0.95) is None
    assert pooled([one]) is None
    assert stated_risk("every", 1, 0.05) == 0.25


def test_a_string_without_readings_is_refused():
    with pytest.raises(ValueError, match="at least one reading"):
        summarize(())


@pytest.mark.parametrize("risk", [0, 0.5, 0.9, -0.1, math.nan])
def test_a_risk_that_the_bound_cannot_keep_is_refused(risk):
    with pytest.raises(ValueError, match="risk lies above 0"):
        upper_bound(summarize((1, 2, 3)), "mean", risk=risk, instrument_u=1)


def test_equal_readings_are_under_or_over_for_certain_only_if_the_instrument_is_exact():
    same = summarize((284.0, 284.0, 284.0))
    assert [probability_over(same, limit, instrument_u=0) for limit in (283, 284, 285)] == [1, 1, 0]
    assert probability_over(same, 285, instrument_u=1) == pytest.approx(0.158655, abs=1e-6)


@pytest.mark.parametrize("u", [0, 0.5, 50])
@pytest.mark.parametrize("sd", [0.01, 3, 30])
def test_a_mean_on_the_limit_leaves_the_next_shot_even_chances(sd, u):
    assert probability_over(string(4, 285.0, sd), 285.0, instrument_u=u) == pytest.approx(0.5)


@settings(max_examples=300, deadline=None)
@given(
    n=st.integers(2, 50),
    sd=st.floats(1e-6, 100),
    u=st.floats(1e-6, 100),
    risk=st.floats(1e-9, 0.499),
)
def test_the_next_shot_is_over_the_bound_with_the_risk_that_the_bound_states(n, sd, u, risk):
    marker = string(n, 280.0, sd)
    bound = upper_bound(marker, "next_shot", risk=risk, instrument_u=u)
    assert probability_over(marker, bound, instrument_u=u) == pytest.approx(risk, rel=1e-4)
    assert probability_over(marker, 560 - bound, instrument_u=u) == pytest.approx(1 - risk, rel=1e-4)


@settings(max_examples=200, deadline=None)
@given(
    n=st.integers(2, 50),
    sd=st.floats(0, 100),
    u=st.floats(0, 100),
    limit=st.floats(0, 2000),
)
def test_the_chance_of_a_shot_over_falls_as_the_limit_rises(n, sd, u, limit):
    marker = string(n, 280.0, sd)
    lower, higher = (probability_over(marker, one, instrument_u=u) for one in (limit, limit + 1))
    assert 0 <= higher <= lower + 1e-9 <= 1 + 1e-9


def test_the_speed_of_an_energy_needs_a_ball_with_a_mass():
    with pytest.raises(ValueError, match="above 0 g"):
        fps_from_joules(7.5, 0)


def test_a_point_on_a_limit_is_inside_and_one_beyond_signals():
    points = shewhart([3.0, -3.0, 3.1, -3.1], target=0, sigma=1)
    assert [point.signal for point in points] == [False, False, True, True]


def test_limits_that_open_see_a_fault_of_the_first_check_and_settled_ones_do_not():
    assert ewma([3.5], target=0, sigma=1, weight=0.2)[0].signal
    assert not ewma([3.5], target=0, sigma=1, weight=0.2, settled=True)[0].signal


@pytest.mark.parametrize("bad", [{"sigma": 0}, {"width": 0}, {"weight": 0}, {"weight": 1.1}])
def test_a_chart_with_parameters_that_mean_nothing_is_refused(bad):
    with pytest.raises(ValueError, match="park's rule"):
        ewma([1.0], **({"target": 0, "sigma": 1, "weight": 0.2} | bad))


def test_a_chart_of_its_own_values_needs_two_that_differ():
    assert individuals([]) is individuals([50.0]) is individuals([50.0, 50.0]) is None


def test_two_chronographs_need_two_markers_and_as_many_readings_each():
    assert compare([], []) is compare([281.0], [277.0]) is None
    with pytest.raises(ValueError, match="shorter"):
        compare([281.0, 280.0], [277.0])


def test_chronographs_that_always_differ_by_the_same_disagree_for_certain():
    found = compare([281.0, 285.0], [277.0, 281.0])
    assert (found.bias_fps, found.p, found.lower_fps, found.upper_fps) == (4, 0, 4, 4)
    assert compare([281.0, 285.0], [281.0, 285.0]).p == 1


def test_a_trend_needs_three_strings_and_more_than_one_time():
    assert trend([0, 1], [280.0, 281.0]) is trend([2, 2, 2], [280.0, 281.0, 282.0]) is None
    assert trend([0, 1, 2], [280.0, 281.0, 282.0]).slope == pytest.approx(1)
    with pytest.raises(ValueError, match="shorter"):
        trend([0, 1, 2], [280.0, 281.0])
