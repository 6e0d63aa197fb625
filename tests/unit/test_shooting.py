"""A string that is open on a chronograph, reading by reading. Figures are common practice, no source."""

from datetime import timedelta

import pytest

from contracts.equipment import MarkerRegistered
from contracts.park import RulesAdopted
from contracts.problems import AlreadyRecorded, NotInThatState, UnknownSubject
from contracts.rules import Rules, VelocityRules
from contracts.velocity import (
    ChangeSetUp,
    ChronoRegistered,
    EndString,
    MarkerTested,
    Misread,
    OpenString,
    ReadingTaken,
    StringAbandoned,
    StringOpened,
    TakeReading,
)
from services.velocity.api import SERVICE
from services.velocity.shooting import MOST_MISREADS, SHOOTING, STRAYS
from services.velocity.states import BENCH
from tests.unit.scenario import NINE, Scenario

CHRONO = "bench-1"


def marker(name):
    return MarkerRegistered(marker=name, owner=None, model="Heron", calibre=".68", firing_mode="semi", gas="air")


@pytest.fixture
def bench():
    return Scenario(SERVICE.handlers).given(ChronoRegistered(chrono=CHRONO), marker("m1"), marker("m2"))


def opened(bench, test="t1", name="m1", **more):
    return bench.when(OpenString(test=test, marker=name, chrono=CHRONO, **more))


def read(bench, speed_fps=None, **more):
    return bench.when(TakeReading(chrono=CHRONO, speed_fps=speed_fps, **more))


def ended(bench, **more):
    return bench.when(EndString(chrono=CHRONO, **more))


def test_the_last_reading_that_the_rule_asks_for_records_the_markers_test(bench):
    opened(bench, sealed=True, temperature_c=14.0, ball_g=3.1, rate_bps=8.0)
    assert [type(one) for one in (*read(bench, 270), *read(bench, 274))] == [ReadingTaken, ReadingTaken]
    taken, test = read(bench, 272)
    assert taken == ReadingTaken(
        chrono=CHRONO, test="t1", marker="m1", speed_fps=272, misread=None, source="instrument"
    )
    assert test == MarkerTested(
        test="t1",
        marker="m1",
        chrono=CHRONO,
        readings_fps=(270, 274, 272),
        misreads=(),
        low_pressure=False,
        sealed=True,
        temperature_c=14.0,
        ball_g=3.1,
        rate_bps=8.0,
    )
    assert bench.state(BENCH, "m1").tests[0].readings == (270, 274, 272)


@pytest.mark.parametrize("count", [1, 5])
def test_a_string_is_of_as_many_readings_as_the_parks_rule_says(bench, count):
    bench.given(RulesAdopted(rules=Rules(version="v2", velocity=VelocityRules(readings=count))))
    opened(bench)
    answers = [read(bench, 270) for _ in range(count)]
    assert [len(one) for one in answers] == [1] * (count - 1) + [2]


def test_a_reading_beyond_a_full_string_is_of_no_marker_and_is_remembered_to_be_shown(bench):
    opened(bench)
    for speed in (270, 274, 272):
        read(bench, speed)
    (beyond,) = read(bench, 301)
    assert (beyond.test, beyond.marker, beyond.speed_fps) == (None, None, 301)
    assert bench.state(SHOOTING, CHRONO).strays == (beyond,)
    assert bench.state(BENCH, "m1").tests[0].readings == (270, 274, 272)


def test_no_more_than_the_newest_stray_readings_are_remembered_and_none_once_a_string_is_opened(bench):
    for speed in range(STRAYS + 2):
        read(bench, 200.0 + speed)
    assert [one.speed_fps for one in bench.state(SHOOTING, CHRONO).strays] == [202, 203, 204, 205, 206]
    opened(bench)
    assert bench.state(SHOOTING, CHRONO).strays == ()


def test_a_reading_without_any_string_is_recorded_all_the_same(bench):
    (taken,) = read(bench, 270, source="typed")
    assert (taken.test, taken.speed_fps, taken.source) == (None, 270, "typed")


def test_a_reading_that_comes_late_and_was_shot_before_the_string_was_opened_is_not_of_its_marker(bench):
    opened(bench.at(10))
    bench.at(11)
    (taken,) = read(bench, 299, occurred_at=NINE + timedelta(minutes=9, seconds=59))
    assert taken.marker is None
    assert bench.state(SHOOTING, CHRONO).readings == ()


def test_a_reading_of_the_very_moment_at_which_the_string_was_opened_is_of_its_marker(bench):
    opened(bench.at(10))
    (taken,) = read(bench.at(12), 270, occurred_at=NINE + timedelta(minutes=10))
    assert taken.marker == "m1"


def test_a_misread_is_kept_beside_the_readings_with_its_place_among_them(bench):
    opened(bench)
    read(bench, 270)
    (lost,) = read(bench, misread="beam_lost")
    assert lost.misread == "beam_lost"
    (slow,) = read(bench, 12)
    assert slow.misread == "no_shot"
    read(bench, 272)
    (_, test) = read(bench, 274)
    assert test.readings_fps == (270, 272, 274)
    assert test.misreads == (
        Misread(kind="beam_lost", speed_fps=None, after=1),
        Misread(kind="no_shot", speed_fps=12, after=1),
    )


def test_a_misread_that_a_person_names_is_no_reading_but_keeps_its_speed(bench):
    opened(bench)
    read(bench, 299, misread="double_trigger", source="typed")
    read(bench, 270)
    read(bench, 271)
    (_, test) = read(bench, 272)
    assert test.misreads == (Misread(kind="double_trigger", speed_fps=299, after=0),)


def test_a_string_of_nothing_but_misreads_ends_by_itself(bench):
    opened(bench)
    answers = [read(bench, misread="beam_lost") for _ in range(MOST_MISREADS)]
    assert [len(one) for one in answers] == [1] * (MOST_MISREADS - 1) + [2]
    test = answers[-1][-1]
    assert isinstance(test, MarkerTested)
    assert (test.readings_fps, len(test.misreads)) == ((), MOST_MISREADS)
    assert bench.state(SHOOTING, CHRONO).string is None


def test_who_opens_the_next_marker_ends_the_open_string_with_what_it_has(bench):
    opened(bench)
    read(bench, 290)
    test, begun = opened(bench, "t2", "m2")
    assert (test.marker, test.readings_fps) == ("m1", (290,))
    assert begun == StringOpened(
        test="t2", marker="m2", chrono=CHRONO, sealed=False, temperature_c=None, ball_g=None, rate_bps=None
    )
    (taken,) = read(bench, 270)
    assert taken.marker == "m2"
    assert bench.state(BENCH, "m1").tests[0].readings == (290,)


def test_who_opens_the_next_marker_before_a_shot_gives_up_the_open_string(bench):
    opened(bench)
    given_up, _ = opened(bench, "t2", "m2")
    assert given_up == StringAbandoned(test="t1", marker="m1", chrono=CHRONO)
    assert bench.state(BENCH, "m1").tests == ()
    assert bench.state(BENCH, "m1").opened == ()


def test_a_string_is_ended_with_what_it_has_and_low_pressure_is_said(bench):
    opened(bench)
    read(bench, 200)
    (test,) = ended(bench, low_pressure=True)
    assert (test.readings_fps, test.low_pressure) == ((200,), True)


def test_a_string_that_is_ended_cannot_hide_a_fast_reading(bench):
    opened(bench)
    read(bench, 305)
    ended(bench)
    assert bench.state(BENCH, "m1").tests[0].readings == (305,)


def test_where_none_is_open_none_can_be_ended(bench):
    with pytest.raises(NotInThatState, match="Scan a marker first"):
        ended(bench)


def test_what_comes_late_for_an_earlier_string_neither_ends_nor_replaces_the_one_that_is_open(bench):
    opened(bench.at(10), "t2", "m2")
    bench.at(15)
    before = NINE + timedelta(minutes=5)
    with pytest.raises(NotInThatState, match="opened on chronograph bench-1 since"):
        ended(bench, occurred_at=before)
    with pytest.raises(NotInThatState, match="marker m2"):
        opened(bench, "t1", "m1", occurred_at=before)
    assert bench.state(SHOOTING, CHRONO).string.test == "t2"


def test_the_same_string_is_not_opened_twice(bench):
    opened(bench)
    with pytest.raises(AlreadyRecorded, match="Shoot"):
        opened(bench)


def test_a_marker_or_a_chronograph_that_the_record_does_not_know_is_refused(bench):
    with pytest.raises(UnknownSubject, match="marker m9"):
        opened(bench, name="m9")
    with pytest.raises(UnknownSubject, match="chrono bench-9"):
        bench.when(TakeReading(chrono="bench-9", speed_fps=270))


@pytest.mark.parametrize(("change", "counts"), [("adjuster", False), ("refill", True)])
def test_a_change_of_set_up_amid_a_string_voids_all_of_it_and_a_refill_does_not(bench, change, counts):
    opened(bench.at(1))
    read(bench.at(2), 270)
    read(bench.at(3), 271)
    bench.at(4).when(ChangeSetUp(marker="m1", change=change))
    read(bench.at(5), 272)
    assert bool(bench.state(BENCH, "m1").tests) is counts


def test_a_change_of_set_up_that_is_told_late_voids_the_string_amid_which_it_happened(bench):
    opened(bench.at(1))
    for minute in (2, 4, 5):
        read(bench.at(minute), 270)
    bench.at(9).when(ChangeSetUp(marker="m1", change="adjuster", occurred_at=NINE + timedelta(minutes=3)))
    assert bench.state(BENCH, "m1").tests == ()


def test_the_newest_test_is_remembered_whichever_way_it_was_recorded(bench):
    opened(bench)
    for speed in (270, 274, 272):
        read(bench, speed)
    assert bench.state(SHOOTING, CHRONO).last.test == "t1"
    opened(bench, "t2", "m2")
    whole = MarkerTested(
        test="t3", marker="m1", chrono=CHRONO, readings_fps=(260, 261, 262), misreads=(), low_pressure=False,
        sealed=False, temperature_c=None, ball_g=None, rate_bps=None,
    )  # fmt: skip
    bench.given(whole)
    state = bench.state(SHOOTING, CHRONO)
    assert (state.last.test, state.string.test) == ("t3", "t2")
