"""How soon a faulty chronograph is found, and how often a good one is accused: the rules' own functions over simulated checks, against theory.

Theory: the Markov chain of `metrology.run_length` (itself held against Lucas and Saccucci's table in test_charts), SciPy's distributions, and
the figures that textbooks print for Shewhart charts (from memory).
"""

from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np
import pytest
from scipy import stats

from contracts.rules import ChronoRules
from services.velocity import chronos, states
from services.velocity.metrology.run_length import average_run_length
from services.velocity.pairs import disagreement
from services.velocity.states import Bench, Chrono

RULES = ChronoRules()
SHEWHART = ChronoRules(ewma_weight=1, ewma_width=3, shewhart_width=3, bias_fps=20)
"""The moving mean of weight 1 is the check itself: nothing but single checks within three sigma."""
DAY = datetime(2026, 5, 9, 9, tzinfo=UTC)


def first_signal(values: Iterator[float], rules: ChronoRules) -> int:
    """The number of the check that closes the chronograph, one check after the other as the record judges them."""
    checked: list[float] = []
    while True:
        checked.append(next(values))
        if chronos.charted(checked, rules):
            return len(checked)


def first_of_many(values: list[float], rules: ChronoRules) -> int | None:
    """The same of a long run at once, by what `charted` itself looks at."""
    points = zip(values, chronos.singles(values, rules), chronos.averages(values, rules), strict=True)
    return next((number for number, point in enumerate(points, 1) if chronos.signals(*point, rules)), None)


def found_after(shift_fps: float, rules: ChronoRules, runs: int = 3_000) -> tuple[float, float]:
    """The mean number of checks until a chronograph that is so far off is closed, and its standard error."""
    rng = np.random.default_rng(20260509)

    def read() -> Iterator[float]:
        while True:
            yield from rng.normal(shift_fps, rules.check_sd_fps, 8).tolist()

    lengths = [first_signal(read(), rules) for _ in range(runs)]
    return float(np.mean(lengths)), float(np.std(lengths) / runs**0.5)


def theory(shift_fps: float, rules: ChronoRules) -> float:
    sd = rules.check_sd_fps
    single = min(rules.shewhart_width, rules.bias_fps / sd)
    return average_run_length(
        weight=rules.ewma_weight, width=rules.ewma_width, shift=abs(shift_fps) / sd, single=single
    )


@pytest.mark.parametrize(
    ("shift_fps", "about"),
    [(-4.0, 1.02), (4.0, 1.02), (-1.6, 2.95), (-0.8, 10.8)],
    ids=["4 ft/s low", "4 ft/s high", "two sigma", "one sigma"],
)
def test_a_fault_is_found_after_as_many_checks_as_theory_says(shift_fps, about):
    """By default a check has a sigma of 0.8 ft/s: 4 ft/s off is closed by the first check in 98 of 100 cases, one sigma off by the eleventh on average."""
    mean, error = found_after(shift_fps, RULES)
    assert theory(shift_fps, RULES) == pytest.approx(about, rel=0.02)
    assert mean == pytest.approx(theory(shift_fps, RULES), abs=4 * error + 1e-3 * mean)


def test_four_feet_a_second_are_found_by_the_first_check_as_often_as_the_normal_distribution_says():
    """Closed unless the check falls within three sigma of 0, five sigma off: SciPy's normal distribution, 0.97725."""
    rng = np.random.default_rng(4)
    closed = [bool(chronos.charted([one], RULES)) for one in rng.normal(-4, RULES.check_sd_fps, 20_000).tolist()]
    chance = 1 - float(stats.norm.cdf(3, loc=5) - stats.norm.cdf(-3, loc=5))
    assert chance == pytest.approx(0.97725, abs=5e-6)
    assert np.mean(closed) == pytest.approx(chance, abs=4 * (chance * (1 - chance) / len(closed)) ** 0.5)


@pytest.mark.parametrize(("sigmas", "printed"), [(1, 43.9), (2, 6.30), (3, 2.00)])
def test_single_checks_alone_find_a_fault_as_late_as_textbooks_print(sigmas, printed):
    """Average run lengths of a Shewhart chart of individuals, three sigma: 43.9, 6.30, 2.00 (textbooks, from memory; one over the chance of a signal)."""
    mean, error = found_after(sigmas * SHEWHART.check_sd_fps, SHEWHART, runs=1_500)
    assert mean == pytest.approx(printed, abs=4 * error + 0.05)


@pytest.mark.parametrize(("rules", "printed"), [(RULES, None), (SHEWHART, 370.4)], ids=["default", "shewhart alone"])
def test_a_good_chronograph_is_accused_as_seldom_as_theory_says(rules, printed):
    """Single checks alone: once in 370.4 (textbooks, from memory). With the moving mean beside them, about once in 234 checks."""
    rng = np.random.default_rng(20260510)
    lengths = []
    for run in rng.normal(0, rules.check_sd_fps, (1_000, 5_000)):
        length = first_of_many(run[:400].tolist(), rules) or first_of_many(run.tolist(), rules)
        assert length is not None
        lengths.append(length)
    mean, error = np.mean(lengths), np.std(lengths) / len(lengths) ** 0.5
    assert mean == pytest.approx(theory(0, rules), abs=4 * error)
    if printed is not None:
        assert theory(0, rules) == pytest.approx(printed, abs=0.05)


def test_a_long_run_at_once_signals_where_one_check_after_the_other_does():
    rng = np.random.default_rng(5)
    for run in rng.normal(0.4, RULES.check_sd_fps, (60, 150)).tolist():
        length = first_of_many(run, RULES)
        if length is not None:
            assert first_signal(iter(run), RULES) == length


# two chronographs over the same markers


def bench(first_fps: float, second_fps: float) -> Bench:
    """One marker, a string of one shot on each chronograph."""

    def string(chrono: str, speed: float, position: int) -> states.Tested:
        place = (DAY, position)
        return states.Tested(chrono, chrono, (speed,), (), False, False, None, None, None, DAY.date(), place, place)  # noqa: FBT003

    return Bench("m", tests=(string("c1", first_fps, 1), string("c2", second_fps, 2)))


def found(first: list[float], second: list[float]):
    benches = [bench(*pair) for pair in zip(first, second, strict=True)]
    return disagreement(Chrono("c1"), Chrono("c2"), benches, RULES)


def test_chronographs_that_agree_are_said_to_disagree_as_seldom_as_the_rule_says():
    """6,000 times eight markers: 1 in 100 within four standard errors. Markers differ by far more than chronographs do, which pairing takes out."""
    rng = np.random.default_rng(6)
    runs = 6_000
    markers = rng.normal(275, 6, (runs, 8, 1))
    shots = markers + rng.normal(0, 1.5, (runs, 8, 2))
    accused = sum(found(run[:, 0].tolist(), run[:, 1].tolist()) is not None for run in shots)
    risk = RULES.disagree_risk
    assert accused / runs == pytest.approx(risk, abs=4 * (risk * (1 - risk) / runs) ** 0.5)


def test_four_feet_a_second_between_two_are_found_as_often_as_the_noncentral_t_says():
    """Power of the paired t test, eight markers, four standard deviations of a single difference's 2.1: SciPy's noncentral t."""
    rng = np.random.default_rng(7)
    runs, sd = 1_500, 1.5 * 2**0.5
    shots = rng.normal(275, 1.5, (runs, 8, 2)) + np.array([-4.0, 0.0])
    share = sum(found(run[:, 0].tolist(), run[:, 1].tolist()) is not None for run in shots) / runs
    reach, shift = stats.t.ppf(1 - RULES.disagree_risk / 2, 7), 4 / (sd / 8**0.5)
    power = float(stats.nct.sf(reach, 7, shift) + stats.nct.cdf(-reach, 7, shift))
    assert share == pytest.approx(power, abs=4 * (power * (1 - power) / runs) ** 0.5)


def test_the_size_of_the_bias_and_its_interval_are_scipys():
    """SciPy's paired t test and its interval of 99 %."""
    rng = np.random.default_rng(8)
    first = rng.normal(275, 6, 12)
    second = first + rng.normal(3, 1, 12)
    ours, theirs = found(first.tolist(), second.tolist()), stats.ttest_rel(first, second)
    interval = theirs.confidence_interval(1 - RULES.disagree_risk)
    assert ours is not None
    assert (ours.bias_fps, ours.p) == pytest.approx((float(np.mean(first - second)), theirs.pvalue), rel=1e-9)
    assert (ours.lower_fps, ours.upper_fps) == pytest.approx((interval.low, interval.high), rel=1e-9)
