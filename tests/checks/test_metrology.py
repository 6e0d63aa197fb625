"""The bench's units, energies, bounds and factors against published figures, and against SciPy's distributions as a second opinion.

Sources were mostly read in secondary texts that quote them; what was only recomputed or is from memory says so.
"""

import math

import numpy as np
import pytest
from scipy import stats

from services.velocity.metrology.bounds import probability_over, tolerance_bound, tolerance_factor, upper_bound
from services.velocity.metrology.drift import trend
from services.velocity.metrology.paired import compare
from services.velocity.metrology.strings import Summary, pooled, summarize
from services.velocity.metrology.units import (
    FOOT_POUND_J,
    energy_per_area,
    foot_pounds,
    fps_from_joules,
    fps_from_mps,
    joules,
    mps_from_fps,
)

STRING = summarize((281, 284, 279, 286, 283))


def exactly(value: float) -> Summary:
    """A marker without spread: what remains is the instrument's uncertainty alone, as in JCGM 106."""
    return summarize((value, value))


def test_the_units_are_the_exact_ones():
    """NIST SP 811 appendix B, read: foot 0.3048 m exactly, ft·lbf 1.355818 J. 152.4 m/s is 500 ft/s."""
    assert mps_from_fps(1) == 0.3048
    assert round(FOOT_POUND_J, 6) == 1.355818
    assert fps_from_mps(152.4) == pytest.approx(500, rel=1e-15)
    assert mps_from_fps(300) == pytest.approx(91.44, rel=1e-15)


@pytest.mark.parametrize(
    ("ball_g", "speed_fps", "energy_j"),
    [
        (3.0, 280, 10.925),
        (3.0, 285, 11.319),
        (3.0, 300, 12.542),
        (3.2, 280, 11.654),
        (3.2, 285, 12.074),
        (3.2, 300, 13.378),
        (3.5, 280, 12.746),
        (3.5, 285, 13.206),
        (3.5, 300, 14.632),
        (1.2, 200, 2.230),
        (1.2, 250, 3.484),
        (1.2, 280, 4.370),
        (1.2, 300, 5.017),
    ],
)
def test_the_energy_of_common_balls(ball_g, speed_fps, energy_j):
    """Half m v squared, recomputed outside this code: no published table was found."""
    assert joules(speed_fps, ball_g) == pytest.approx(energy_j, abs=5e-4)
    assert fps_from_joules(joules(speed_fps, ball_g), ball_g) == pytest.approx(speed_fps)


@pytest.mark.parametrize(("ball_g", "speed_fps"), [(3.0, 231.99), (3.2, 224.62), (3.5, 214.78)])
def test_the_german_energy_limit_as_a_speed(ball_g, speed_fps):
    """7.5 J (WaffG, Anlage 2: secondary texts); the speeds recomputed. The trade's "214 ft/s" for it is from memory and fits a 3.5 g ball."""
    assert fps_from_joules(7.5, ball_g) == pytest.approx(speed_fps, abs=0.005)


def test_energies_that_others_state_come_out():
    """UK: 300 ft/s for 9.9 ft·lbf (secondary), a ball of 3.21 g. American Academy of Ophthalmology, read: 17 mm, 3.5 g, 200 mph, 13.989 J recomputed.

    Canada (CBSA memorandum D19-13-2, secondary): controlled only if over 152.4 m/s *and* 5.7 J: a ball at 300 ft/s is over the one and under the other.
    """
    assert foot_pounds(joules(300, 3.2107)) == pytest.approx(9.9, abs=5e-4)
    assert joules(200 * 5280 / 3600, 3.5) == pytest.approx(13.989, abs=5e-4)
    assert joules(300, 3.0) > 5.7
    assert mps_from_fps(300) < 152.4


def test_common_balls_are_above_the_level_at_which_half_of_eyes_rupture():
    """Duma et al. 2005, J Trauma, doi 10.1097/01.ta.0000174830.55282.32, read: 50 % risk of globe rupture at 23 771 J/m².

    So eye protection is never waived. Anchors of the formula (IOVS, read): 0.75 J on 6 mm is 26 400 ± 1 540 J/m², 0.54 J is 19 100; of the two balls: recomputed.
    """
    rupture = 23_771
    six_mm_in = 6 / 25.4
    assert energy_per_area(0.75, six_mm_in) == pytest.approx(26_400, abs=1_540)
    assert energy_per_area(0.54, six_mm_in) == pytest.approx(19_100, abs=50)
    large, small = energy_per_area(joules(300, 3.2), 17.3 / 25.4), energy_per_area(joules(250, 1.2), 0.50)
    assert large == pytest.approx(56_913, abs=1)  # .68 is 17.3 mm in ASTM F1979, read; 0.68 in exactly gives 57 098
    assert small == pytest.approx(27_502, abs=1)
    assert min(large, small) > rupture


@pytest.mark.parametrize(
    ("n", "share", "factor"),
    [
        (3, 0.90, 6.1553),
        (3, 0.95, 7.6559),
        (3, 0.99, 10.5527),
        (5, 0.90, 3.4066),
        (5, 0.95, 4.2027),
        (5, 0.99, 5.7411),
        (10, 0.90, 2.3546),
        (10, 0.95, 2.9110),
        (10, 0.99, 3.9811),
        (20, 0.90, 1.9260),
        (20, 0.95, 2.3960),
        (20, 0.99, 3.2952),
    ],
)
def test_one_sided_tolerance_factors_at_95_percent_confidence(n, share, factor):
    """Computed once with SciPy. NBS Handbook 91 table A-6 (secondary) prints 6.155, 3.407, 2.355 for 90 % and 2.911 for 95 %, n = 10."""
    assert tolerance_factor(n, share, 0.95) == pytest.approx(factor, abs=5e-5)
    reference = stats.nct.ppf(0.95, n - 1, stats.norm.ppf(share) * math.sqrt(n)) / math.sqrt(n)
    assert tolerance_factor(n, share, 0.95) == pytest.approx(reference, rel=1e-9)


def test_two_readings_need_the_factor_that_the_handbook_prints():
    """NBS Handbook 91 table A-6 (secondary): 20.581 for 90 % of shots with 95 % confidence."""
    assert tolerance_factor(2, 0.90, 0.95) == pytest.approx(20.581, abs=5e-4)


def test_the_exact_factor_is_not_the_approximation_that_the_handbook_prints():
    """NIST/SEMATECH e-Handbook 7.2.6.3 (secondary): n 43, mean 97.07, s 0.0268, 90 % with 99 %: k 1.8751896 by Natrella, exactly 1.87395 (computed)."""
    z, c, n = stats.norm.ppf(0.90), stats.norm.ppf(0.99), 43
    a, b = 1 - c**2 / (2 * (n - 1)), z**2 - c**2 / n
    natrella = (z + math.sqrt(z**2 - a * b)) / a
    assert (a, b, natrella) == pytest.approx((0.9355727, 1.5165164, 1.8751896), abs=5e-7)
    assert tolerance_factor(n, 0.90, 0.99) == pytest.approx(1.87395, abs=5e-6)
    handbook = Summary(n=43, mean_fps=97.07, sd_fps=0.0268, extreme_spread_fps=0, highest_fps=0)
    assert tolerance_bound(handbook, share=0.90, confidence=0.99) == pytest.approx(97.120255, abs=5e-5)


@pytest.mark.parametrize(("n", "factor"), [(3, 3.37171), (5, 2.33532), (10, 1.92259)])
def test_factors_of_the_bound_for_the_next_shot(n, factor):
    """Student's one-sided 95 % prediction bound, t times the root of 1 + 1/n: computed with SciPy."""
    string = Summary(n=n, mean_fps=0, sd_fps=1, extreme_spread_fps=0, highest_fps=0)
    assert upper_bound(string, "next_shot", risk=0.05, instrument_u=0) == pytest.approx(factor, abs=5e-6)
    assert probability_over(string, factor, instrument_u=0) == pytest.approx(0.05, abs=1e-6)


def test_a_string_of_five_with_its_bounds():
    """Computed once with SciPy: 281, 284, 279, 286, 283 ft/s."""
    assert (STRING.n, STRING.extreme_spread_fps, STRING.highest_fps) == (5, 7, 286)
    assert STRING.mean_fps == pytest.approx(282.6)
    assert STRING.sd_fps == pytest.approx(2.701851, abs=5e-7)
    assert upper_bound(STRING, "next_shot", risk=0.05, instrument_u=0) == pytest.approx(288.9097, abs=5e-5)
    assert tolerance_bound(STRING, share=0.95, confidence=0.95) == pytest.approx(293.955, abs=5e-4)
    predictive = stats.t(4, loc=282.6, scale=STRING.sd_fps * math.sqrt(1.2))
    assert probability_over(STRING, 285, instrument_u=0) == pytest.approx(predictive.sf(285), rel=1e-12)
    assert probability_over(STRING, 280, instrument_u=0) == pytest.approx(predictive.sf(280), rel=1e-12)


@pytest.mark.parametrize(
    ("risk", "u", "accepted"),
    [(0.05, 1, 298.355), (0.05, 1.5, 297.533), (0.05, 3, 295.065)]
    + [(0.02275013, u, 300 - 2 * u) for u in (1, 1.5, 3)],
)
def test_guarded_acceptance_at_a_limit_of_300(risk, u, accepted):
    """JCGM 106:2012 8.3.2 (titles read, method from memory, figures recomputed): the guard z·u, or 2u; ISO 14253-1:2017 takes 95 % (secondary)."""
    for basis in ("mean", "next_shot"):
        assert upper_bound(exactly(accepted), basis, risk=risk, instrument_u=u) == pytest.approx(300, abs=5e-4)


def test_probabilities_of_conformity_that_jcgm_106_works_out():
    """JCGM 106:2012 7.3.3 and 7.4 (titles read, inputs from memory, results recomputed). A lower limit is an upper one turned round."""
    zener = 1 - probability_over(exactly(-5.47), -5.40, instrument_u=0.05)
    assert zener == pytest.approx(0.91924, abs=5e-6)
    burst = 1 - probability_over(exactly(-509.7), -490, instrument_u=8.6)
    assert burst == pytest.approx(0.98901, abs=5e-6)
    oil = probability_over(exactly(13.6), 12.5, instrument_u=1.8) - probability_over(
        exactly(13.6), 16.3, instrument_u=1.8
    )
    assert oil == pytest.approx(0.66263, abs=5e-6)
    assert 1 - probability_over(exactly(298), 300, instrument_u=1.5) == pytest.approx(0.90879, abs=5e-6)


def test_the_speed_limit_example_of_jcgm_106():
    """JCGM 106:2012 8.3.3.2 (title read, inputs from memory): 100 km/h, u 2 % of the reading; 99.9 % sure that it was exceeded from 106.59 km/h on."""
    bound = upper_bound(exactly(-106.59), "mean", risk=0.001, instrument_u=0.02 * 106.59)
    assert bound == pytest.approx(-100, abs=0.005)


def test_the_paired_test_is_students():
    """Against scipy.stats.ttest_rel: a second opinion, no source."""
    first, second = (281.0, 276.5, 284.2, 279.9, 270.3), (277.1, 272.0, 281.1, 275.2, 267.0)
    reference = stats.ttest_rel(first, second)
    found = compare(first, second, confidence=0.9)
    assert found.n == 5
    assert found.bias_fps == pytest.approx(3.9)
    assert found.p == pytest.approx(reference.pvalue, rel=1e-9)
    assert (found.lower_fps, found.upper_fps) == pytest.approx(tuple(reference.confidence_interval(0.9)), rel=1e-12)


def test_the_slope_is_the_one_that_nist_certifies():
    """NIST StRD, Norris (linear regression, lower difficulty), as copied in SciPy's own tests, which were read."""
    x = [0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4]
    x += [0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3]
    x += [0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5]
    y = [0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3]
    y += [0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3]
    y += [0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2]
    found = trend(x, y)
    assert found.n == 36
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert found.standard_error == pytest.approx(0.0004297968482, rel=1e-9)
    noisy = trend(range(6), (270.0, 274.0, 269.0, 275.0, 271.0, 276.0))
    assert noisy.p == pytest.approx(stats.linregress(range(6), (270, 274, 269, 275, 271, 276)).pvalue, rel=1e-9)


def test_the_pooled_spread_is_that_of_an_analysis_of_variance():
    """The root of the mean square within groups, computed with NumPy."""
    strings = [(270.0, 274.0, 269.0), (281.0, 280.0), (290.0,), (260.0, 263.0, 259.0, 262.0)]
    within = sum(np.var(one) * len(one) for one in strings)
    found = pooled(map(summarize, strings))
    assert found.degrees == 6
    assert found.sd_fps == pytest.approx(math.sqrt(within / 6))
