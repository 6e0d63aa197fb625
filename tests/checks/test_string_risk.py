"""Simulated truth: markers of known distributions are shot over chronographs of known uncertainty; the stated risk of a wrong pass holds.

Every case is 100,000 strings from a fixed seed, and is held against the risk plus or minus four standard errors of such a count. The functions under test take arrays
of strings as they take one. What is known of the truth is only the simulation's: no source.
"""

import numpy as np
import pytest
from scipy.special import stdtrit

from contracts.rules import VelocityRules
from services.velocity.judging import Shot, held, verdict
from services.velocity.metrology.bounds import normal, stated_risk, student, tolerance_factor, upper_bound
from services.velocity.metrology.strings import Summary, summarize
from tests.unit.strings import bound

STRINGS = 100_000
RISK = 0.05
ERROR = 4 * (RISK * (1 - RISK) / STRINGS) ** 0.5
LENGTHS = (3, 5, 10)
ALONE = [(0.01, 0.0), (2.0, 0.0), (15.0, 0.0), (1e-6, 1.5)]
MIXED = [(0.5, 1.5), (1.5, 1.5), (3.0, 1.5), (6.0, 1.5), (15.0, 1.5), (2.0, 0.5)]
"""The marker's standard deviation and the chronograph's standard uncertainty, ft/s."""


def shoot(n, sigma, u, seed):
    """Readings of `n` shots of markers whose true mean is 0, with their chronographs' biases, and the true speed of the next shot."""
    rng = np.random.default_rng([seed, n])
    shots = rng.normal(0, sigma, (STRINGS, n + 1))
    return shots[:, :n] + rng.normal(0, u, (STRINGS, 1)), shots[:, n]


def summaries(readings):
    return Summary(
        n=readings.shape[1],
        mean_fps=readings.mean(axis=1),
        sd_fps=readings.std(axis=1, ddof=1),
        extreme_spread_fps=np.ptp(readings, axis=1),
        highest_fps=readings.max(axis=1),
    )


def worst_of_the_mean(bounds, sigma, u):
    """The share of wrong passes, the worst over true means from the limit up: a marker passes whose mean is at or over the limit."""
    return max((bounds < -over * np.hypot(sigma, u)).mean() for over in (0, 0.1, 0.5, 1))


def worst_of_the_next_shot(bounds, following, sigma, u):
    """The share of wrong passes, the worst over limits around the true mean: a marker passes and its next shot reaches the limit.

    It is the whole risk for a steady marker at the limit, and a third of it or less for one that scatters: far under a limit such a marker passes and
    stays under it, far over it does neither.
    """
    limits = np.concatenate([np.linspace(-4, 4, 9) * sigma, np.linspace(0, 8, 25) * np.hypot(sigma, u)])
    return max(((bounds < limit) & (following >= limit)).mean() for limit in limits)


def test_the_simulation_and_the_summary_of_one_string_agree():
    readings, _ = shoot(5, 3.0, 1.5, seed=1)
    one, many = summarize(readings[7].tolist()), summaries(readings)
    for field in Summary.__struct_fields__[1:]:
        assert getattr(one, field) == pytest.approx(getattr(many, field)[7])


@pytest.mark.parametrize("n", LENGTHS)
@pytest.mark.parametrize(("sigma", "u"), ALONE + MIXED)
def test_a_marker_too_fast_on_average_passes_no_more_often_than_stated(n, sigma, u):
    readings, _ = shoot(n, sigma, u, seed=2)
    worst = worst_of_the_mean(upper_bound(summaries(readings), "mean", risk=RISK, instrument_u=u), sigma, u)
    assert worst <= RISK + ERROR
    assert worst >= (RISK - ERROR if (sigma, u) in ALONE else 0.6 * RISK), "the bound is idle"


@pytest.mark.parametrize("n", LENGTHS)
@pytest.mark.parametrize(("sigma", "u"), ALONE + MIXED)
def test_the_next_shot_is_over_after_a_pass_no_more_often_than_stated(n, sigma, u):
    readings, following = shoot(n, sigma, u, seed=3)
    bounds = upper_bound(summaries(readings), "next_shot", risk=RISK, instrument_u=u)
    missed = (following >= bounds).mean()
    assert missed <= RISK + ERROR
    assert missed >= (RISK - ERROR if (sigma, u) in ALONE else 0.6 * RISK), "the bound is idle"
    worst = worst_of_the_next_shot(bounds, following, sigma, u)
    assert worst <= RISK + ERROR
    assert worst >= (0.95 if sigma < 0.01 else 0.2) * RISK, "the bound is idle"


DRAWS = {
    "normal": lambda rng, shape: rng.normal(0, 3, shape),
    "skewed": lambda rng, shape: rng.exponential(4, shape),
    "heavy-tailed": lambda rng, shape: rng.standard_t(1.5, shape),
    "lognormal": lambda rng, shape: rng.lognormal(0, 1.5, shape),
    "steady with a hot shot in ten": lambda rng, shape: rng.normal(0, 1, shape) + 20 * (rng.random(shape) < 0.1),
    "two-level, the worst": lambda rng, shape: (rng.random(shape) < 1 / shape[1]).astype(float),
}


@pytest.mark.parametrize("u", [0.0, 1.5])
@pytest.mark.parametrize("n", LENGTHS)
@pytest.mark.parametrize("shape", DRAWS)
def test_with_every_reading_under_the_limit_the_next_is_over_no_more_often_than_stated(n, shape, u):
    """Whatever the distribution, and whatever the chronographs' biases, since each moves the next reading as it moved the string's."""
    rng = np.random.default_rng([4, n])
    shots = DRAWS[shape](rng, (STRINGS, n + 1)) + rng.normal(0, u, (STRINGS, 1))
    bounds = upper_bound(summaries(shots[:, :n]), "every", risk=RISK, instrument_u=u)
    stated = stated_risk("every", n, RISK)
    limits = np.unique(np.quantile(shots, np.linspace(0.3, 0.995, 50)))
    worst = max(((bounds < limit) & (shots[:, n] >= limit)).mean() for limit in limits)
    assert worst <= stated + 4 * (stated * (1 - stated) / STRINGS) ** 0.5
    if not u:
        assert worst >= 0.9 * stated, "the statement is idle"


def test_three_readings_under_the_limit_leave_27_in_256():
    assert stated_risk("every", 3, RISK) == 27 / 256
    assert stated_risk("mean", 3, RISK) == stated_risk("next_shot", 3, RISK) == RISK
    rng = np.random.default_rng(5)
    hot = rng.random((STRINGS, 4)) < 0.25
    assert (~hot[:, :3].any(axis=1) & hot[:, 3]).mean() == pytest.approx(27 / 256, abs=0.004)


def test_every_reading_under_the_limit_says_nothing_of_the_chronographs_own_bias():
    """A steady marker just over the limit passes on every chronograph that reads low: half of them. That is what the guard band is for."""
    readings, following = shoot(3, 0.01, 1.5, seed=6)
    limit = -0.05
    every = upper_bound(summaries(readings), "every", risk=RISK, instrument_u=1.5)
    assert ((every < limit) & (following >= limit)).mean() > 4 * stated_risk("every", 3, RISK)
    guarded = upper_bound(summaries(readings), "next_shot", risk=RISK, instrument_u=1.5)
    assert ((guarded < limit) & (following >= limit)).mean() <= RISK + ERROR


def test_the_usual_formula_for_degrees_of_freedom_would_not_keep_the_stated_risk():
    """Welch-Satterthwaite (JCGM 100:2008 G.4.1, from memory) at three readings: the reason why the two parts have a quantile each."""
    n, sigma, u = 3, 1.5 * 3 * 3**0.5, 1.5  # nine tenths of the variance of the mean is the marker's
    readings, _ = shoot(n, sigma, u, seed=7)
    strings = summaries(readings)
    scatter = strings.sd_fps**2 / n
    both = scatter + u**2
    guard = -stdtrit((n - 1) * both**2 / scatter**2, RISK) * both**0.5
    assert worst_of_the_mean(strings.mean_fps + guard, sigma, u) > RISK + 2 * ERROR
    ours = upper_bound(strings, "mean", risk=RISK, instrument_u=u)
    assert worst_of_the_mean(ours, sigma, u) <= RISK
    assert (student(2, RISK), normal(RISK)) == pytest.approx((2.919986, 1.644854), abs=5e-7)


@pytest.mark.parametrize("n", LENGTHS)
def test_the_tolerance_bound_covers_its_share_as_often_as_it_says(n):
    readings, _ = shoot(n, 3.0, 0.0, seed=8)
    strings = summaries(readings)
    covered = strings.mean_fps + tolerance_factor(n, 0.95, 0.95) * strings.sd_fps >= 3.0 * normal(0.05)
    assert covered.mean() == pytest.approx(0.95, abs=ERROR)


@pytest.mark.parametrize(
    ("n", "mean_range", "mean_sd"),
    [
        (2, 1.128379, 0.797885),
        (3, 1.692569, 0.886227),
        (4, 2.058751, 0.921318),
        (5, 2.325929, 0.939986),
        (6, 2.534413, 0.951533),
        (10, 3.077505, 0.972659),
    ],
)
def test_spread_and_standard_deviation_of_normal_strings_average_to_the_control_chart_constants(n, mean_range, mean_sd):
    """d2 and c4, read in published tables; their further digits computed. 20,000 strings, within four standard errors."""
    rng = np.random.default_rng([9, n])
    found = [summarize(one) for one in rng.normal(280, 1, (20_000, n)).tolist()]
    for values, constant in (
        ([one.extreme_spread_fps for one in found], mean_range),
        ([one.sd_fps for one in found], mean_sd),
    ):
        assert np.mean(values) == pytest.approx(constant, abs=4 * np.std(values) / 20_000**0.5)


# the judgement itself

RULES = {
    basis: VelocityRules(basis=basis, readings=3, instrument_u_fps=1.5) for basis in ("every", "mean", "next_shot")
}
SAMPLE = 400


def passes(readings, limit, rules):
    """Which strings of one length pass, by the very bounds that are simulated here and the rule's own doubts."""
    strings = summaries(readings)
    held = upper_bound(strings, rules.basis, risk=rules.risk, instrument_u=rules.instrument_u_fps)
    steady = strings.extreme_spread_fps <= rules.spread_fps
    return (held < limit) & steady & (readings.min(axis=1) >= rules.lowest_fps)


@pytest.mark.parametrize("rules", RULES.values(), ids=RULES)
@pytest.mark.parametrize("sigma", [0.01, 3.0, 9.0])
def test_the_strings_of_the_simulation_are_judged_alike_by_the_bench(rules, sigma):
    readings, _ = shoot(3, sigma, 1.5, seed=10)
    readings, outcomes = 280 + readings[:SAMPLE], set()
    for limit in (279.0, 281.0, 285.0, 292.0):
        expected = passes(readings, limit, rules)
        judged = [verdict(Shot(tuple(one), 3.0), bound(limit), rules)[0] == "pass" for one in readings.tolist()]
        assert judged == expected.tolist()
        outcomes |= set(judged)
    assert outcomes == {True, False}


@pytest.mark.parametrize("rules", RULES.values(), ids=RULES)
def test_of_a_whole_fleet_no_more_pass_wrongly_than_stated(rules):
    """100,000 markers whose means, spreads and chronographs differ: what passed and then shot too fast, and what passed and is too fast on average."""
    rng = np.random.default_rng(11)
    means, sigmas = rng.normal(281, 5, (STRINGS, 1)), rng.gamma(4, 0.8, (STRINGS, 1))
    shots = means + sigmas * rng.normal(0, 1, (STRINGS, 4))
    shown = shots[:, :3] + rng.normal(0, 0.0 if rules.basis == "every" else 1.5, (STRINGS, 1))
    passed = passes(shown, 285.0, rules)
    stated = stated_risk(rules.basis, 3, rules.risk)
    error = 4 * (stated * (1 - stated) / STRINGS) ** 0.5
    wrong = passed & (means[:, 0] >= 285 if rules.basis == "mean" else shots[:, 3] >= 285)
    assert 0 < wrong.mean() <= stated + error
    too_fast = means[:, 0] >= 285
    if rules.basis != "every":
        assert passed[too_fast].mean() <= rules.risk + 4 * (rules.risk / too_fast.sum()) ** 0.5
    assert passed.mean() > 0.2, "the rule is of use"


def test_whoever_could_shoot_on_until_it_passes_would_pass_three_times_as_often_as_stated():
    """So a string that was shot on is held at the highest bound that it came to since it was full."""
    rules = RULES["mean"]
    readings, _ = shoot(20, 3.0, 0.0, seed=12)
    rules = VelocityRules(basis="mean", readings=3, instrument_u_fps=0)
    bounds = np.array(
        [upper_bound(summaries(readings[:, :n]), "mean", risk=RISK, instrument_u=0) for n in range(3, 21)]
    )
    until_it_passes = (bounds < 0).any(axis=0)
    assert 3 * RISK < until_it_passes.mean() < 4.5 * RISK
    assert (bounds.max(axis=0) < 0).mean() <= RISK + ERROR
    for string, at_most in zip(readings[:SAMPLE].tolist(), bounds.max(axis=0)[:SAMPLE], strict=True):
        assert held(tuple(string), rules) == pytest.approx(at_most, rel=1e-9)
