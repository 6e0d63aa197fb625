"""Chronographs: which checks are good, and whether what was measured at a moment counts. Figures are the rules' defaults: 0.8 ft/s a check, three sigma."""

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contracts.problems import RuleForbids, UnknownSubject
from contracts.rules import ChronoRules
from contracts.velocity import AdjustChrono, CheckChrono, RegisterChrono
from services.velocity import chronos
from services.velocity.api import SERVICE
from services.velocity.chronos import Trust
from services.velocity.report import LATEST
from services.velocity.states import CHRONO, Check, Chrono
from tests.unit.instruments import agrees, checks
from tests.unit.scenario import NINE, Scenario

RULES = ChronoRules()


@pytest.fixture
def bench() -> Scenario:
    scenario = Scenario(SERVICE.handlers)
    scenario.when(RegisterChrono(chrono="c1"))
    return scenario


def clock(minutes: float):
    return NINE + timedelta(minutes=minutes)


def trusted(scenario: Scenario, minutes: float, position: int = LATEST) -> Trust:
    """Whether what the chronograph measured at some minutes past nine counts, by what is known now."""
    return chronos.trust(scenario.state(CHRONO, "c1"), (clock(minutes), position), RULES)


# checks


def test_a_check_is_the_mean_of_its_readings_less_the_references(bench):
    found = checks(bench, 1.0, -0.5, 0.25)
    assert (found.good, found.bias_fps, found.signals) == (True, 0.25, ())


def test_readings_and_references_are_of_the_same_shots(bench):
    with pytest.raises(RuleForbids, match="read 2 shots, the reference 1"):
        bench.when(CheckChrono(chrono="c1", readings_fps=(280, 281), reference_fps=(280,)))


def test_a_chronograph_that_nobody_entered_cannot_be_checked():
    with pytest.raises(UnknownSubject, match="chrono c9"):
        Scenario(SERVICE.handlers).when(CheckChrono(chrono="c9"))


@pytest.mark.parametrize(
    ("off", "signals"),
    [
        (-4.0, ("bias", "shewhart", "ewma")),
        (2.41, ("shewhart", "ewma")),
        (2.39, ()),
        (-2.39, ()),
    ],
)
def test_a_first_check_is_good_within_three_sigma_on_either_side(bench, off, signals):
    """Three times 0.8 is 2.4 ft/s; a first check signals on both charts or on none, since its mean and that one's limits are both shrunk by the weight."""
    found = checks(bench, off, off, off)
    assert (found.good, found.signals) == (not signals, signals)


def test_small_steps_the_same_way_are_found_by_the_moving_mean_and_by_nothing_else(bench):
    signals = [checks(bench.at(minute), -1.6, -1.6, -1.6).signals for minute in range(4)]
    assert signals == [(), (), ("ewma",), ("ewma",)]


def test_a_person_closes_a_chronograph_whose_figures_are_good(bench):
    assert checks(bench, 0, 0, 0, good=False).signals == ("person",)
    assert trusted(bench, 1) == Trust("closed")


def test_the_charts_begin_anew_at_work_and_with_a_good_check_it_counts_again(bench):
    for minute in range(3):
        checks(bench.at(minute), -1.6, -1.6, -1.6)
    bench.at(5).when(AdjustChrono(chrono="c1", work="settings"))
    assert checks(bench.at(6), -1.6, -1.6, -1.6).signals == ()
    assert trusted(bench, 7).trusted


def test_a_late_check_is_judged_by_what_had_been_checked_when_it_was_made(bench):
    for minute in (20, 30):
        checks(bench.at(minute), -1.6, -1.6, -1.6)
    assert checks(bench.at(40), -1.6, -1.6, -1.6, occurred_at=clock(10)).signals == ()
    assert checks(bench.at(41), -1.6, -1.6, -1.6).signals == ("ewma",)


def test_checks_of_one_instant_are_in_the_order_of_their_recording(bench):
    signals = [checks(bench, -1.6, -1.6, -1.6).signals for _ in range(3)]
    assert signals == [(), (), ("ewma",)]
    assert trusted(bench, 0) == Trust("closed")


# checks that decide nothing


def test_a_check_of_too_few_shots_neither_opens_nor_closes(bench):
    assert checks(bench, 0.5, 0.5).signals == ("too_few",)
    assert trusted(bench, 1) == Trust("never_checked")
    agrees(bench.at(10))
    checks(bench.at(20), 0.5, 0.5)
    assert trusted(bench, 15).trusted
    assert trusted(bench, 25).trusted
    assert trusted(bench, 10 + 241) == Trust("check_overdue")


def test_two_shots_that_are_far_off_close_it_all_the_same(bench):
    agrees(bench)
    assert checks(bench.at(20), -4, -4).signals == ("too_few", "bias", "shewhart", "ewma")
    assert trusted(bench, 10) == Trust("closed", -4.0)


def test_too_few_shots_are_no_value_of_the_charts(bench):
    for minute in range(2):
        checks(bench.at(minute), -1.6)
    assert checks(bench.at(3), -1.6, -1.6, -1.6).signals == ()


def test_what_a_persons_word_closed_a_word_opens_and_what_figures_closed_figures(bench):
    bench.when(CheckChrono(chrono="c1", good=False))
    bench.at(1).when(CheckChrono(chrono="c1"))
    assert trusted(bench, 2).trusted
    checks(bench.at(3), -4, -4, -4)
    (word,) = bench.at(4).when(CheckChrono(chrono="c1"))
    assert word.signals == ("too_few",)
    bench.when(CheckChrono(chrono="c1", good=False))
    (word,) = bench.when(CheckChrono(chrono="c1"))
    assert word.signals == ("too_few",)
    assert trusted(bench, 5) == Trust("closed")
    bench.at(6).when(AdjustChrono(chrono="c1", work="sensor"))
    agrees(bench.at(7))
    assert trusted(bench, 8).trusted


# trust


def test_between_two_good_checks_a_reading_counts_however_long_it_was(bench):
    agrees(bench)
    agrees(bench.at(600))
    assert trusted(bench, 599).trusted


def test_a_good_check_holds_for_four_hours_and_then_waits_for_the_next(bench):
    agrees(bench)
    assert trusted(bench, 240).trusted
    assert trusted(bench, 241) == Trust("check_overdue")
    agrees(bench.at(300))
    assert trusted(bench, 241).trusted


def test_a_bad_check_after_the_hours_ran_out_closes_what_was_read_before_it(bench):
    agrees(bench)
    checks(bench.at(300), -4, -4, -4)
    assert trusted(bench, 100) == Trust("closed", -4.0)
    assert trusted(bench, 299) == Trust("closed", -4.0)
    assert trusted(bench, 301) == Trust("closed")


def test_a_bad_check_reaches_back_to_the_good_one_before_and_no_further(bench):
    agrees(bench)
    agrees(bench.at(60))
    checks(bench.at(120), -4, -4, -4)
    assert trusted(bench, 59).trusted
    assert trusted(bench, 61) == Trust("closed", -4.0)


def test_a_bad_check_that_is_told_late_takes_its_place_between_the_good_ones(bench):
    agrees(bench)
    agrees(bench.at(120))
    assert trusted(bench, 30).trusted
    checks(bench.at(130), -4, -4, -4, occurred_at=clock(60))
    assert trusted(bench, 30) == Trust("closed", -4.0)
    assert trusted(bench, 90) == Trust("closed")
    assert trusted(bench, 125).trusted


def test_work_hides_what_was_read_since_the_last_check_and_what_comes_before_the_next(bench):
    agrees(bench)
    agrees(bench.at(60))
    bench.at(90).when(AdjustChrono(chrono="c1", work="battery"))
    assert [trusted(bench, minute).doubt for minute in (30, 70, 100)] == [None, "worked_on", "worked_on"]
    agrees(bench.at(110))
    assert [trusted(bench, minute).doubt for minute in (70, 100, 120)] == ["worked_on", "worked_on", None]


def test_work_right_after_a_check_hides_nothing_that_came_before_the_check(bench):
    agrees(bench)
    agrees(bench.at(90))
    bench.at(91).when(AdjustChrono(chrono="c1", work="battery"))
    assert trusted(bench, 70).trusted


def test_work_that_is_told_late_hides_as_if_it_had_been_told_at_once(bench):
    agrees(bench)
    agrees(bench.at(120))
    bench.at(130).when(AdjustChrono(chrono="c1", work="moved", occurred_at=clock(60)))
    assert [trusted(bench, minute).doubt for minute in (30, 90, 121)] == ["worked_on", "worked_on", None]


def test_before_its_first_check_nothing_counts_even_where_that_is_good(bench):
    agrees(bench.at(30))
    assert trusted(bench, 29) == Trust("never_checked")


def test_how_far_off_it_was_is_what_reads_lower_the_check_or_the_moving_mean(bench):
    """Five checks 1.2 low and one 0.1 high: the mean has crept to about -1.0 while the check by itself would clear too fast a marker."""
    agrees(bench)
    rules = ChronoRules(ewma_width=6)
    for minute in range(10, 60, 10):
        checks(bench.at(minute), -1.2, -1.2, -1.2)
    checks(bench.at(60), 0.1, 0.1, 0.1, good=False)
    before = chronos.trust(bench.state(CHRONO, "c1"), (clock(59), LATEST), rules)
    mean = 0.0
    for value in [0.0, *[-1.2] * 5, 0.1]:
        mean = 0.3 * value + 0.7 * mean
    assert before.doubt == "closed"
    assert before.bias_fps == pytest.approx(mean, abs=1e-12)
    assert before.bias_fps == pytest.approx(-0.669, abs=1e-3)


# whatever happens


_PLACES = st.tuples(st.integers(0, 400).map(clock), st.integers(1, 50))
_CHECKS = st.builds(
    lambda place, bias, good: Check(place, good, bias, 3, () if good else ("bias",)),
    _PLACES,
    st.sampled_from([None, -4.0, 0.0, 2.0]),
    st.booleans(),
)


def _chrono(found: list[Check], works: list[tuple]) -> Chrono:
    by_place = {one.place: one for one in found}
    return Chrono(
        "c1", registered=True, checks=tuple(by_place[one] for one in sorted(by_place)), works=tuple(sorted(works))
    )


@settings(max_examples=300, deadline=None)
@given(found=st.lists(_CHECKS, max_size=6), works=st.lists(_PLACES, max_size=3), place=_PLACES)
def test_nothing_counts_that_no_good_check_came_before(found, works, place):
    chrono = _chrono(found, works)
    if chronos.trust(chrono, place, RULES).trusted:
        before = max(one.place for one in chrono.checks if one.place < place)
        assert next(one for one in chrono.checks if one.place == before).good


@settings(max_examples=300, deadline=None)
@given(found=st.lists(_CHECKS, max_size=6), works=st.lists(_PLACES, max_size=3), place=_PLACES, more=_PLACES)
def test_more_work_never_makes_a_reading_count(found, works, place, more):
    before = chronos.trust(_chrono(found, works), place, RULES)
    after = chronos.trust(_chrono(found, [*works, more]), place, RULES)
    assert before.trusted or not after.trusted


@settings(max_examples=300, deadline=None)
@given(found=st.lists(_CHECKS, max_size=6), works=st.lists(_PLACES, max_size=3), place=_PLACES, more=_CHECKS)
def test_one_more_bad_check_never_makes_a_reading_count(found, works, place, more):
    bad = Check(more.place, False, more.bias_fps, 3, ("bias",))  # noqa: FBT003
    before = chronos.trust(_chrono(found, works), place, RULES)
    after = chronos.trust(_chrono([*found, bad], works), place, RULES)
    assert before.trusted or not after.trusted
