"""What must not let a marker through: readings that no test holds yet, strings over a night, checks and changes amid a string. Common practice, no source."""

from datetime import timedelta

import pytest

from contracts.equipment import MarkerRegistered
from contracts.park import WeatherRecorded
from contracts.problems import AlreadyRecorded
from contracts.velocity import (
    AdjustChrono,
    ChangeSetUp,
    CheckChrono,
    ChronoRegistered,
    EndString,
    OpenString,
    TakeReading,
    TestMarker,
)
from services.velocity import model
from services.velocity.api import SERVICE
from services.velocity.states import BENCH, CHRONO, WEATHER, Limits
from tests.unit.scenario import NINE, Scenario

ONE, OTHER = "bench-1", "bench-2"
BIRCH = Limits("birch", bench=285.0, stop=300.0)
AGREES = CheckChrono(chrono=ONE, readings_fps=(280, 281, 282), reference_fps=(280, 281, 282))
READS_LOW = CheckChrono(chrono=ONE, readings_fps=(276, 277, 278), reference_fps=(280, 281, 282))


def marker(name, owner=None):
    return MarkerRegistered(marker=name, owner=owner, model="Heron", calibre=".68", firing_mode="semi", gas="air")


@pytest.fixture
def bench():
    bench = Scenario(SERVICE.handlers).given(
        ChronoRegistered(chrono=ONE), ChronoRegistered(chrono=OTHER), marker("m1"), marker("m2")
    )
    bench.when(AGREES)
    bench.when(CheckChrono(chrono=OTHER, readings_fps=(280, 281, 282), reference_fps=(280, 281, 282)))
    return bench.at(10)


def opened(bench, test, chrono=ONE, name="m1"):
    return bench.when(OpenString(test=test, marker=name, chrono=chrono))


def read(bench, *speeds, chrono=ONE, **more):
    return [bench.when(TakeReading(chrono=chrono, speed_fps=speed, **more)) for speed in speeds]


def reasons(bench, name="m1"):
    state, moment = bench.state(BENCH, name), bench.moment()
    chronos = {one.chrono: bench.state(CHRONO, one.chrono) for one in state.tests}
    return [one.code for one in model.reasons(state, chronos, BIRCH, bench.state(WEATHER), moment, None)]


def test_a_marker_that_passed_and_is_read_too_fast_in_a_string_that_nobody_ends_is_not_cleared(bench):
    opened(bench, "t1")
    read(bench, 270, 271, 272)
    assert reasons(bench) == []
    opened(bench.at(20), "t2")
    read(bench, 310)
    assert reasons(bench.at(90)) == ["too_fast"]


def test_a_pass_on_another_chronograph_does_not_outweigh_what_an_open_string_has_read(bench):
    opened(bench, "t1")
    read(bench, 310)
    opened(bench.at(11), "t2", OTHER)
    read(bench, 270, 271, 272, chrono=OTHER)
    assert reasons(bench) == ["too_fast"]


def test_an_open_string_that_is_not_too_fast_so_far_takes_nothing_from_the_test_before(bench):
    opened(bench, "t1")
    read(bench, 270, 271, 272)
    opened(bench.at(20), "t2")
    read(bench, 270, 3)
    assert reasons(bench) == []


def test_what_an_open_string_read_before_the_set_up_was_changed_counts_no_more(bench):
    opened(bench, "t1")
    read(bench, 310)
    bench.at(11).when(ChangeSetUp(marker="m1", change="adjuster"))
    opened(bench.at(12), "t2", OTHER)
    read(bench, 270, 271, 272, chrono=OTHER)
    assert reasons(bench) == []


def test_a_test_that_is_sent_whole_under_the_name_of_an_open_string_cannot_hide_what_that_read(bench):
    opened(bench, "t1")
    read(bench, 310)
    with pytest.raises(AlreadyRecorded, match="End it first"):
        bench.when(TestMarker(test="t1", marker="m1", chrono=ONE, readings_fps=(270, 271, 272)))


def test_one_name_is_not_given_to_two_strings_of_a_marker(bench):
    """A change of set-up between their openings would void the one and be taken to have come before the other."""
    opened(bench, "t1")
    with pytest.raises(AlreadyRecorded, match="bench-1"):
        opened(bench.at(12), "t1", OTHER)
    read(bench, 270, 271, 272)
    with pytest.raises(AlreadyRecorded, match="name of its own"):
        opened(bench.at(13), "t1")


def test_a_string_left_open_overnight_takes_no_reading_of_the_next_day(bench):
    opened(bench.at(9 * 60), "t1")
    read(bench, 270, 271)
    bench.at(24 * 60).when(AGREES)
    ended, taken = bench.when(TakeReading(chrono=ONE, speed_fps=272))
    assert (ended.test, ended.readings_fps) == ("t1", (270, 271))
    assert (taken.test, taken.marker) == (None, None)
    assert "test_inconclusive" in reasons(bench)


def test_a_reading_of_yesterday_that_comes_late_is_still_of_yesterdays_string(bench):
    opened(bench.at(9 * 60), "t1")
    read(bench, 270, 271)
    bench.at(24 * 60)
    *_, (taken, test) = read(bench, 272, occurred_at=NINE + timedelta(hours=9, minutes=1))
    assert (taken.test, test.readings_fps) == ("t1", (270, 271, 272))


def test_a_string_amid_which_its_chronograph_was_found_to_read_low_does_not_count_as_read(bench):
    opened(bench, "t1")
    read(bench, 283, 283)
    bench.at(12).when(READS_LOW)
    bench.at(13).when(AdjustChrono(chrono=ONE, work="sensor"))
    bench.at(14).when(AGREES)
    read(bench.at(15), 283)
    assert reasons(bench) == ["chrono_untrusted"]


def test_a_chronograph_that_was_worked_on_amid_a_string_makes_the_string_count_for_nothing(bench):
    opened(bench, "t1")
    read(bench, 270, 270)
    bench.at(13).when(AdjustChrono(chrono=ONE, work="sensor"))
    bench.at(14).when(AGREES)
    read(bench.at(15), 270)
    assert reasons(bench) == ["chrono_untrusted"]


def test_a_good_check_amid_a_string_takes_nothing_from_it(bench):
    opened(bench, "t1")
    read(bench, 270, 270)
    bench.at(14).when(AGREES)
    read(bench.at(15), 270)
    assert reasons(bench) == []


@pytest.mark.parametrize("minutes", [20, 29.9])
def test_a_word_between_a_string_and_a_check_that_reads_low_does_not_whitewash_the_string(bench, minutes):
    """It is told in time by a lazy clerk, or late by one who has seen the figures."""
    opened(bench, "t1")
    read(bench, 283, 283, 283)
    bench.at(30).when(READS_LOW)
    bench.at(31).when(CheckChrono(chrono=ONE, occurred_at=NINE + timedelta(minutes=minutes)))
    assert reasons(bench) == ["chrono_untrusted"]


def test_figures_after_work_say_nothing_of_what_a_word_said_before_it(bench):
    opened(bench, "t1")
    read(bench, 283, 283, 283)
    bench.at(20).when(CheckChrono(chrono=ONE))
    bench.at(25).when(AdjustChrono(chrono=ONE, work="settings"))
    bench.at(30).when(READS_LOW)
    assert reasons(bench) == []


def test_a_bias_that_is_typed_without_a_shot_opens_nothing_that_figures_closed(bench):
    bench.at(20).when(READS_LOW)
    (check,) = bench.at(21).when(CheckChrono(chrono=ONE, bias_fps=0.0))
    assert (check.good, check.signals) == (False, ("too_few",))
    opened(bench.at(22), "t1")
    read(bench, 270, 271, 272)
    assert reasons(bench) == ["chrono_untrusted"]


def test_a_marker_whose_gas_was_changed_to_an_unsaid_one_is_held_to_the_strictest_rise(bench):
    """CO₂ gains most with warmth."""
    bench.when(ChangeSetUp(marker="m1", change="gas"))
    bench.when(OpenString(test="t1", marker="m1", chrono=ONE, temperature_c=14.0))
    read(bench, 270, 271, 272)
    bench.given(WeatherRecorded(temperature_c=20.0))
    assert reasons(bench) == []
    bench.given(WeatherRecorded(temperature_c=20.1))
    assert reasons(bench) == ["warmer_since_test"]


def test_a_word_that_nothing_contradicts_is_a_check(bench):
    opened(bench, "t1")
    read(bench, 283, 283, 283)
    bench.at(20).when(CheckChrono(chrono=ONE))
    bench.at(30).when(AGREES)
    assert reasons(bench) == []


def test_a_change_that_names_another_firing_mode_is_not_harmless_whatever_it_is_called(bench):
    opened(bench, "t1")
    read(bench, 270, 271, 272)
    bench.when(ChangeSetUp(marker="m1", change="refill", firing_mode="semi"))
    assert reasons(bench) == []
    bench.when(ChangeSetUp(marker="m1", change="refill", firing_mode="full"))
    assert reasons(bench) == ["test_voided"]


def test_a_firing_mode_that_is_told_late_does_not_stand_for_the_one_that_was_set_since(bench):
    bench.at(20).when(ChangeSetUp(marker="m1", change="firing_mode", firing_mode="full"))
    bench.at(21).when(
        ChangeSetUp(marker="m1", change="firing_mode", firing_mode="semi", occurred_at=NINE + timedelta(minutes=15))
    )
    assert bench.state(BENCH, "m1").firing_mode == "full"


def test_an_own_marker_is_tested_for_hours_from_the_opening_of_its_string():
    bench = Scenario(SERVICE.handlers).given(ChronoRegistered(chrono=ONE), marker("m1", owner="p1"))
    bench.at(-59).when(AGREES)
    opened(bench, "t1")
    read(bench.at(0), 270, 271, 272)
    bench.when(AGREES)
    assert reasons(bench.at(9 * 60 + 1)) == []
    assert reasons(bench.at(9 * 60 + 2)) == ["test_expired"]


def test_an_end_on_the_next_day_ends_the_string_all_the_same(bench):
    opened(bench.at(9 * 60), "t1")
    read(bench, 310)
    (test,) = bench.at(24 * 60).when(EndString(chrono=ONE))
    assert test.readings_fps == (310,)
