"""The instrument's charts against the NIST/SEMATECH e-Handbook, and their run lengths against published tables and against themselves.

The handbook's examples were read in independent copies of its data sets; printed figures are rounded or cut.
"""

from datetime import UTC, datetime

import numpy as np
import pytest

from contracts.rules import ChronoRules
from services.velocity.metrology.charts import cusum, ewma, individuals, shewhart
from services.velocity.metrology.run_length import average_run_length
from services.velocity.report import chart
from services.velocity.states import Check, Chrono


def test_the_ewma_chart_of_the_handbook():
    """NIST/SEMATECH e-Handbook 6.3.2.4: weight 0.3, target 50, s 2.0539, three sigma; limits 52.5884 and 47.4115 (cut); no signal."""
    x = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4]
    x += [53.6, 52.1]
    z = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38]
    z += [49.92, 50.73, 51.23, 51.94, 51.99]
    points = ewma(x, target=50, sigma=2.0539, weight=0.3, settled=True)
    assert [point.value for point in points] == pytest.approx(z, abs=0.0051)
    assert {(point.lower, point.upper) for point in points} == {(points[0].lower, points[0].upper)}
    assert (points[0].lower, points[0].upper) == pytest.approx((47.4115, 52.5884), abs=1e-4)
    assert not any(point.signal for point in points)


def test_the_chart_of_a_chronograph_shows_the_handbooks_means():
    """The same example as checks of an instrument that are off by x - 50: what screens draw is z - 50; single limits 3 x 2.0539."""
    x = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4]
    x += [53.6, 52.1]
    z = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38]
    z += [49.92, 50.73, 51.23, 51.94, 51.99]
    at = datetime(2026, 5, 9, 9, tzinfo=UTC)
    checks = tuple(Check((at, number), True, value - 50, 3, ()) for number, value in enumerate(x))  # noqa: FBT003
    rules = ChronoRules(check_sd_fps=2.0539, ewma_weight=0.3, bias_fps=20)
    points = chart(Chrono("c1", checks=checks), at, rules)
    assert [point.mean_fps for point in points] == pytest.approx([one - 50 for one in z], abs=0.0051)
    assert points[-1].mean_limit_fps == pytest.approx(2.5884, abs=1e-4)
    assert points[0].single_limit_fps == pytest.approx(6.1617)
    assert not any(point.beyond for point in points)


def test_limits_that_open_reach_the_handbooks():
    """The same chart with the exact limits of each check (same section, in words): 3·0.3·s at the first, the printed ones by the twentieth."""
    points = ewma([50.0] * 20, target=50, sigma=2.0539, weight=0.3)
    assert points[0].upper == pytest.approx(50 + 3 * 0.3 * 2.0539)
    assert points[-1].upper == pytest.approx(52.5884, abs=1e-4)


def test_the_cusum_chart_of_the_handbook():
    """NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959; the first signal is at group 14. Ties are printed either way."""
    x = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150]
    x += [328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]
    high = [3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035]
    low = [0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.715, 0.1725, 0.255, 0.3125] + [0.0] * 9
    sums = cusum(x, target=325, slack=0.3175, decision=4.1959)
    assert [one.high for one in sums[12:]] == pytest.approx(high, abs=0.0051)
    assert [one.low for one in sums] == pytest.approx(low, abs=0.0051)
    assert [number for number, one in enumerate(sums, 1) if one.signal] == list(range(14, 21))


def test_the_individuals_chart_of_the_handbook():
    """NIST/SEMATECH e-Handbook 6.3.2.2: limits 55.8041 and 45.8159, by d2 rounded to 1.128; ours is exact (2 over the root of pi)."""
    x = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    chart = individuals(x)
    assert (chart.mean, chart.moving_range) == pytest.approx((50.81, 1.8778), abs=5e-5)
    printed = chart.mean + 3 * chart.moving_range / 1.128
    assert printed == pytest.approx(55.8041, abs=5e-5)
    assert (chart.points[0].lower, chart.points[0].upper) == pytest.approx((45.8159, 55.8041), abs=0.002)
    assert chart.moving_range / chart.sigma == pytest.approx(1.128379, abs=5e-7)
    assert not any(point.signal for point in chart.points)


@pytest.mark.parametrize(
    ("weight", "width", "lengths"),
    [
        (0.40, 3.054, (500, 71.2, 14.3, 5.9, 3.5, 2.0)),
        (0.25, 2.998, (500, 48.2, 11.1, 5.5, 3.6, 2.3)),
        (0.20, 2.962, (500, 41.8, 10.5, 5.5, 3.7, 2.4)),
        (0.10, 2.814, (500, 31.3, 10.3, 6.1, 4.4, 2.9)),
        (0.05, 2.615, (500, 28.8, 11.4, 7.1, 5.2, 3.5)),
    ],
)
def test_run_lengths_of_ewma_charts(weight, width, lengths):
    """Lucas and Saccucci 1990, as textbooks print them: from memory. Settled limits; shifts of 0, ½, 1, 1½, 2 and 3 sigma."""
    found = [
        average_run_length(weight=weight, width=width, shift=shift, settled=True) for shift in (0, 0.5, 1, 1.5, 2, 3)
    ]
    assert found == pytest.approx(lengths, rel=0.002, abs=0.051)


def test_a_shewhart_chart_alone_signals_falsely_once_in_370_checks():
    """One over the chance of a normal beyond three sigma: 370.4; a shift of one sigma is seen after 43.9 (textbooks: 370 and 43.9, from memory)."""
    assert average_run_length(weight=1, width=3) == pytest.approx(370.398, abs=5e-4)
    assert average_run_length(weight=1, width=3, shift=1) == pytest.approx(43.895, abs=5e-4)
    assert average_run_length(weight=0.2, width=9, single=3, shift=1) == pytest.approx(43.895, rel=1e-3)


@pytest.mark.parametrize("settled", [False, True])
def test_the_charts_signal_after_as_many_checks_as_the_theory_says(settled):
    """The very functions that the rules use, over 4,000 simulated instruments: within four standard errors of the Markov chain's figure."""
    rng = np.random.default_rng(20260401)
    runs = []
    for values in rng.normal(1.5, 1, (4_000, 80)).tolist():
        averages = ewma(values, target=0, sigma=1, weight=0.2, width=2.962, settled=settled)
        singles = shewhart(values, target=0, sigma=1, width=3.5)
        runs.append(1 + [one.signal or other.signal for one, other in zip(averages, singles, strict=True)].index(True))
    theory = average_run_length(weight=0.2, width=2.962, shift=1.5, single=3.5, settled=settled)
    assert np.mean(runs) == pytest.approx(theory, abs=4 * np.std(runs) / len(runs) ** 0.5)
