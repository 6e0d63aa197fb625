"""The fleet's report: what was planted is found, what is alike is left in peace, and each test is what its source says it is."""

from datetime import date, timedelta

import numpy as np
import pytest
from scipy import stats

from deploy.commands.fleet import fleet as told_in_terminal
from deploy.commands.fleet import told as table
from services.velocity.comparing import Spread, Stops, adjusted, by_marker, dispersion, oftener, spread, wider
from services.velocity.creep import Gain, Lines, Point, beyond, gain, lines, model_gain, scatter
from services.velocity.fleet import LEVEL, report
from services.velocity.history import History
from services.velocity.kept import within
from services.velocity.metrology.strings import pooled, summarize
from tests.unit.fleets import OPENED, fleet

RNG = np.random.default_rng


def found(told):
    """What was found, as (name, kind)."""
    return {(one.name, result.kind) for one in (*told.models, *told.markers) for result in one.results if result.found}


def of(told, name):
    return {result.kind: result for one in (*told.models, *told.markers) if one.name == name for result in one.results}


# against outside sources


def test_one_line_is_what_scipy_fits():
    """SciPy's linregress, the p of a slope above 0."""
    rng = RNG(5)
    hours = rng.uniform(0, 8, 12)
    speeds = 270 + 0.4 * hours + rng.normal(0, 3, 12)
    made = lines(Point((0, "a"), hour, speed, 3) for hour, speed in zip(hours, speeds, strict=True))
    theirs = stats.linregress(hours, speeds, alternative="greater")
    ours = gain(made, scatter([made]))
    assert (ours.slope, ours.error, ours.p) == pytest.approx((theirs.slope, theirs.stderr, theirs.pvalue), rel=1e-9)


def test_lines_with_levels_of_their_own_are_the_analysis_of_covariance():
    """NumPy's least squares of the whole design: a column for each line's level and one for the hours, rows weighted by √shots."""
    rng = RNG(6)
    points = [
        Point((line, "a"), rng.uniform(0, 8), 260 + 7 * line + rng.normal(0, 3), int(rng.integers(1, 6)))
        for line in range(4)
        for _ in range(5)
    ]
    weights = np.sqrt([point.shots for point in points])
    design = np.array([[point.line[0] == line for line in range(4)] + [point.hours] for point in points], dtype=float)
    speeds = np.array([point.speed_fps for point in points])
    fitted, left, *_ = np.linalg.lstsq(design * weights[:, None], speeds * weights, rcond=None)
    error = np.sqrt(left[0] / 15 * np.linalg.inv((design * weights[:, None]).T @ (design * weights[:, None]))[4, 4])
    made = lines(points)
    ours = gain(made, scatter([made]))
    assert made.degrees == 15
    assert (ours.slope, ours.error) == pytest.approx((fitted[4], error), rel=1e-9)


def test_stopping_oftener_is_scipys_binomial_test():
    """SciPy's binomtest, of one's share of all stoppages."""
    for times, uses, rest_times, rest_uses in ((4, 11, 6, 400), (1, 3, 1, 3), (2, 50, 40, 900)):
        theirs = stats.binomtest(times, times + rest_times, uses / (uses + rest_uses), alternative="greater").pvalue
        assert oftener(Stops(times, uses), Stops(rest_times, rest_uses)) == pytest.approx(theirs, rel=1e-9)


def test_it_takes_uses_on_both_sides_to_compare_stoppages():
    assert oftener(Stops(1, 0), Stops(2, 30)) is None
    assert oftener(Stops(1, 30), Stops(2, 0)) is None
    assert oftener(Stops(0, 30), Stops(0, 30)) is None
    assert oftener(Stops(0, 30), Stops(2, 30)) == 1.0


def test_markers_that_differ_no_more_than_by_chance_have_a_dispersion_near_one_and_others_more():
    """SciPy's chi-square test of equal rates: the dispersion is its statistic over its degrees of freedom, at least 1."""
    markers = [Stops(1, 20), Stops(9, 20), Stops(2, 40), Stops(0, 0)]
    expected = stats.chisquare([1, 9, 2], [3, 3, 6]).statistic / 2
    assert dispersion([markers]) == pytest.approx(expected)
    assert dispersion([[Stops(1, 20), Stops(1, 20)], [Stops(0, 5)]]) == 1.0
    few, many = (oftener(Stops(10, 50), Stops(10, 200), by) for by in (expected, 1.0))
    assert few > 5 * many


@pytest.mark.parametrize("ps", [[], [0.2], [0.01, 0.04, 0.03, 0.5, 0.5], [0.001] * 4, [1.0, 0.9, 0.0]])
def test_many_looks_are_adjusted_for_as_scipy_does(ps):
    """SciPy's false_discovery_control, by the method of Benjamini and Hochberg (1995)."""
    assert adjusted(ps) == pytest.approx(list(stats.false_discovery_control(ps)) if ps else [])


def test_the_published_example_of_many_looks():
    """Benjamini and Hochberg (1995), their 15 p-values of a myocardial trial, from memory: four are found at 0.05."""
    ps = [
        0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590,
        1.0000,
    ]  # fmt: skip
    assert sum(step <= 0.05 for step in adjusted(ps)) == 4


def test_the_cube_root_of_a_strings_variance_is_close_to_normal():
    """Wilson and Hilferty (1931): mean 1 - 2/(9f) and variance 2/(9f) at f degrees of freedom, against SciPy's chi-square, for strings of 3, 5 and 10."""
    for n in (3, 5, 10):
        free = n - 1
        shares = np.array([0.05, 0.5, 0.95, 0.99])
        roots = np.cbrt(stats.chi2.ppf(shares, free) / free)
        normal = stats.norm.ppf(shares, 1 - 2 / (9 * free), np.sqrt(2 / (9 * free)))
        assert np.abs(roots - normal).max() < 0.04


def test_strings_of_different_lengths_can_be_compared():
    rng = RNG(7)
    for n in (2, 3, 5, 10):
        strings = [(n, summarize(list(rng.normal(270, 3, n))).sd_fps) for _ in range(4000)]
        assert spread(strings).root == pytest.approx(3 ** (2 / 3), rel=0.03)


def test_the_spread_is_the_pooled_standard_deviation_and_its_test_agrees_with_the_f_test():
    """SciPy's F distribution, for shots that scatter normally; both say how likely so wide a spread is by chance."""
    rng = RNG(8)
    for factor in (1.0, 1.6, 2.2):
        one, rest = ([rng.normal(270, sd, 3) for _ in range(count)] for sd, count in ((3 * factor, 10), (3.0, 200)))
        ours, theirs = (spread((3, summarize(list(string)).sd_fps) for string in side) for side in (one, rest))
        expected = pooled(summarize(list(string)) for string in one)
        assert (ours.sd_fps, ours.degrees) == pytest.approx((expected.sd_fps, expected.degrees))
        f = stats.f.sf((ours.sd_fps / theirs.sd_fps) ** 2, ours.degrees, theirs.degrees)
        assert abs(stats.norm.ppf(wider(ours, theirs)) - stats.norm.ppf(f)) < 1.3


# the level


@pytest.mark.parametrize(
    "truth",
    [{}, {"shots": "student"}, {"models": ("Heron", "Wren")}],
    ids=["shots that scatter normally", "with heavy tails", "two models"],
)
def test_in_a_fleet_with_nothing_wrong_something_is_found_no_oftener_than_stated(truth):
    """A hundred invented fleets each; three standard errors above the level are the sampling's own."""
    rng, fleets = RNG(11), 100
    wrong = sum(bool(found(report(fleet(rng, **truth), None, None))) for _ in range(fleets))
    assert wrong <= fleets * LEVEL + 3 * (fleets * LEVEL * (1 - LEVEL)) ** 0.5


def test_a_look_at_one_marker_errs_as_often_as_its_p_says():
    """Of 2,500 markers with nothing wrong, a p of at most 0.1 comes to a tenth; stoppages are counts, whose p is seldom exhausted."""
    rng = RNG(12)
    told = [one for _ in range(100) for one in report(fleet(rng), None, None).markers]
    for kind, least in (("creep", 0.05), ("spread", 0.07), ("stoppage", 0.0)):
        ps = [result.p for one in told for result in one.results if result.kind == kind]
        assert len(ps) > 2000
        assert least <= np.mean(np.array(ps) <= 0.1) <= 0.12


# what was planted


def test_what_was_planted_is_found_and_nobody_else_is_blamed():
    rng, blamed, hits = RNG(21), 0, 0
    planted = {("H003", "creep"), ("H007", "spread"), ("H011", "stoppage")}
    for _ in range(10):
        told = found(report(fleet(rng, days=8, gains={3: 0.5}, spreads={7: 7.5}, stops={11: 0.5}), None, None))
        hits += len(planted & told)
        blamed += len(told - planted)
    assert hits >= 27
    assert blamed <= 3


def test_a_whole_model_that_creeps_spreads_and_stops_is_named_beside_its_markers():
    heron = dict.fromkeys(range(0, 24, 2), 0.5)
    rng = RNG(22)
    made = fleet(
        rng, markers=24, days=8, models=("Heron", "Wren"), gains=heron, spreads=dict.fromkeys(heron, 6.0),
        stops=dict.fromkeys(heron, 0.3),
    )  # fmt: skip
    told = report(made, None, None)
    assert {("Heron", "creep"), ("Heron", "spread"), ("Heron", "stoppage")} <= found(told)
    assert not {one for one in found(told) if one[0] == "Wren"}
    assert [one.name for one in told.models] == ["Heron", "Wren"]


def test_one_marker_that_creeps_does_not_speak_for_its_model():
    told = report(fleet(RNG(23), days=8, gains={3: 2.0}), None, None)
    assert ("H003", "creep") in found(told)
    assert of(told, "Heron")["creep"].p > 0.1


def test_one_marker_that_spreads_or_stops_does_not_speak_for_its_model():
    made = fleet(RNG(2), markers=8, days=8, spreads={5: 8.0}, stops={6: 0.7}, models=("Heron", "Wren"))
    assert found(report(made, None, None)) == {("H005", "spread"), ("H006", "stoppage")}


def test_markers_taken_as_one_each_have_the_same_spread_together():
    strings = [spread([(3, 2.0), (3, 4.0)]), spread([(3, 3.0)]), spread([])]
    assert by_marker(strings).of == 2
    assert by_marker(strings).sd_fps == sum(strings, Spread()).sd_fps


def test_what_the_weather_does_to_all_is_found_in_the_model_and_only_who_gains_beyond_it_creeps():
    everybody = dict.fromkeys(range(25), 0.5)
    assert found(report(fleet(RNG(26), days=8, gains=everybody), None, None)) == {("Heron", "creep")}
    told = report(fleet(RNG(26), days=8, gains=everybody | {3: 1.2}), None, None)
    assert found(told) == {("Heron", "creep"), ("H003", "creep")}


def test_a_gain_beyond_the_models_has_the_error_of_both():
    own, model = Gain(9, 2.0, 0.4, 7, 0.001), Gain(20, 0.5, 0.3, 19, 0.05)
    made = beyond(own, model)
    assert (made.slope, made.error, made.degrees) == (1.5, 0.5, 7)
    assert made.p == pytest.approx(stats.t.sf(3, 7))
    assert beyond(own, Gain(20, 0.5, 0.4, 19, 0.11)) == beyond(own, None) == own


def test_what_is_found_comes_first_and_says_its_numbers():
    told = report(fleet(RNG(24), days=8, gains={13: 1.0}), None, None)
    assert told.markers[0].name == "H013"
    result = of(told, "H013")["creep"]
    assert result.estimate == pytest.approx(1.0, abs=0.2)
    assert result.sentence.startswith(f"H013 gains {result.estimate:+.1f} ft/s an hour (standard error ")
    assert "its model " in result.sentence
    assert "Probability by chance, with so many looks: under 0.001." in result.sentence


def test_stoppages_are_told_by_fault():
    told = report(fleet(RNG(25), days=8, stops={5: 0.9}), None, None)
    result = of(told, "H005")["stoppage"]
    assert f"(jam {round(result.estimate * result.n)})" in result.sentence
    assert result.found


# what is looked at


def test_only_hired_markers_are_looked_at():
    made = fleet(RNG(1), markers=4)
    own = History("mine", "Heron", ".68", entries=made[0].entries, days=made[0].days)
    assert {one.name for one in report([*made, own], None, None).markers} == {"H000", "H001", "H002", "H003"}


def test_the_days_that_are_asked_about_bound_what_is_looked_at():
    (one,) = fleet(RNG(1), markers=1)
    second, third = ((OPENED + timedelta(days=7 * number)).date() for number in (1, 2))
    some = within(one, second, third)
    assert {entry.day for entry in some.entries} == {second, third} == {day.day for day in some.days}
    told = report([one], second, third)
    assert (told.since, told.until) == (second, third)
    assert told.markers[0].uses == sum(day.uses for day in some.days) < sum(day.uses for day in one.days)


def test_a_fleet_of_nobody_and_one_that_was_never_read_are_reported_without_a_finding():
    assert report([], None, None).looks == 0
    told = report([History("H001", "Heron", ".68", hired=True)], None, None)
    assert (told.looks, told.markers[0].results, told.markers[0].mean_fps) == (0, (), None)


def test_points_at_one_hour_have_no_slope_and_two_alone_no_scatter():
    assert (
        lines([Point((0, "a"), 1.0, 270.0, 3), Point((0, "a"), 1.0, 275.0, 3), Point((1, "a"), 4.0, 280.0, 3)]) is None
    )
    two = lines([Point((0, "a"), 0.0, 270.0, 3), Point((0, "a"), 2.0, 280.0, 3)])
    assert two == Lines(2, 1, 5.0, 6.0, 0.0)
    assert (scatter([two]), gain(two, None)) == (None, None)


def test_three_points_that_happen_to_lie_on_a_line_prove_nothing_beside_markers_that_scatter():
    straight = lines([Point((0, "a"), hour, 270 + 0.5 * hour, 3) for hour in (0.0, 1.0, 2.0)])
    assert gain(straight, scatter([straight])).p == 0.0
    loose = lines([Point((0, "a"), hour, speed, 3) for hour, speed in enumerate((270.0, 276.0, 268.0, 275.0, 270.0))])
    assert gain(straight, scatter([straight, loose])).p > 0.3


def test_a_model_takes_three_slopes():
    assert model_gain([1.0, 2.0]) is None
    theirs = stats.ttest_1samp([1.0, 2.0, 4.0], 0, alternative="greater")
    assert model_gain([1.0, 2.0, 4.0]).p == pytest.approx(theirs.pvalue)


def test_a_string_of_one_reading_says_nothing_of_spread():
    assert spread([(1, None), (3, 2.0)]).of == 1
    assert wider(spread([(3, 2.0)]), spread([(3, 2.0)] * 9)) is None
    assert Spread() + spread([(3, 2.0)]) == spread([(3, 2.0)])


# in the terminal


def test_the_table_tells_what_was_found_then_every_model_and_marker():
    told = report(fleet(RNG(24), markers=6, days=8, gains={3: 1.0}), None, None)
    lines = list(table(told))
    looks = sum(len(one.results) for one in (*told.models, *told.markers))
    assert lines[0] == (
        f"6 hired markers, from the first day that is kept to today; {looks} looks, at a false discovery rate of 0.05."
    )
    assert lines[2].startswith("H003 gains +1.")
    rows = {line.split()[0]: line for line in lines if line.startswith("H0") and "gains" not in line}
    assert len(rows) == 6
    assert rows["H003"].endswith("  creep")
    assert f"{of(told, 'H003')['creep'].estimate:+.2f}" in rows["H003"]
    (other,) = (one for one in told.markers if one.name == "H001")
    assert rows["H001"].split()[-2:] == [str(other.uses), str(other.stoppages)]


def test_a_marker_of_which_nothing_is_known_has_dashes():
    told = report([History("H001", "Heron", ".68", hired=True)], None, None)
    lines = list(table(told))
    assert "Nothing was found that chance alone would not show." in lines
    assert lines[-3].split() == ["H001", "0", "-", "-", "-", "0", "0"]


def test_days_in_the_wrong_order_are_refused_before_anything_is_asked():
    with pytest.raises(SystemExit, match=r"--since 2026-05-09 is after --until 2026-05-02: exchange them"):
        told_in_terminal(since=date(2026, 5, 9), until=date(2026, 5, 2))
