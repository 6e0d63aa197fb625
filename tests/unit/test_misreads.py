"""Misreads: kept with the string, left out by a stated rule, never for being high."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from contracts.equipment import MarkerRegistered
from contracts.park import RulesAdopted
from contracts.rules import Rules, VelocityRules
from contracts.velocity import MarkerTested, Misread, RegisterChrono, TestMarker
from services.velocity.api import SERVICE
from services.velocity.misreads import kind_of, sorted_anew, sorted_out
from tests.unit.scenario import Scenario

RULES = VelocityRules()


def misread(kind: str, speed: float | None, after: int) -> Misread:
    return Misread(kind=kind, speed_fps=speed, after=after)


@pytest.mark.parametrize(
    ("speed", "kind"),
    [
        (None, "beam_lost"),
        (0.0, "no_shot"),
        (39.9, "no_shot"),
        (40.0, None),
        (285.0, None),
        (499.0, None),
        (500.0, None),
        (500.1, "impossible"),
    ],
)
def test_the_rules_say_what_no_reading_is(speed, kind):
    assert kind_of(speed, RULES) == kind


def test_a_park_of_slow_balls_sets_its_own_bounds():
    slow = VelocityRules(no_shot_fps=10, impossible_fps=300)
    assert kind_of(20.0, slow) is None
    assert kind_of(301.0, slow) == "impossible"


def test_each_is_kept_with_how_many_readings_came_before_it():
    readings, misreads = sorted_out((0.0, 281.0, 600.0, 0.0, 279.0), (), RULES)
    assert readings == (281.0, 279.0)
    assert misreads == (misread("no_shot", 0.0, 0), misread("impossible", 600.0, 1), misread("no_shot", 0.0, 1))


def test_what_somebody_named_a_misread_stands_where_it_was_shown():
    named = (misread("double_trigger", 150.0, 3), misread("beam_lost", None, 1))
    readings, misreads = sorted_out((281.0, 0.0, 279.0, 280.0), named, RULES)
    assert readings == (281.0, 279.0, 280.0)
    assert misreads == (misread("beam_lost", None, 1), misread("no_shot", 0.0, 1), misread("double_trigger", 150.0, 2))


def test_one_that_is_said_to_have_come_after_more_than_was_shown_came_last():
    assert sorted_out((281.0,), (misread("beam_lost", None, 9),), RULES) == ((281.0,), (misread("beam_lost", None, 1),))


def test_a_string_is_recorded_sorted_out_by_the_rules_in_force():
    park = Scenario(SERVICE.handlers).given(
        MarkerRegistered(marker="m1", owner=None, model="Heron", calibre=".68", firing_mode="semi", gas="air"),
        RulesAdopted(rules=Rules(version="house", velocity=VelocityRules(no_shot_fps=90))),
    )
    park.when(RegisterChrono(chrono="c1"))
    (tested,) = park.when(TestMarker(test="t", marker="m1", chrono="c1", readings_fps=(80, 281, 279)))
    assert tested.readings_fps == (281, 279)
    assert tested.misreads == (misread("no_shot", 80, 0),)


def test_a_string_of_nothing_but_misreads_can_be_read_again():
    """The most that a command may hold: fifty shown, and fifty named."""
    park = Scenario(SERVICE.handlers).given(
        MarkerRegistered(marker="m1", owner=None, model="Heron", calibre=".68", firing_mode="semi", gas="air")
    )
    park.when(RegisterChrono(chrono="c1"))
    named = tuple(misread("beam_lost", None, place) for place in range(50))
    park.when(TestMarker(test="t", marker="m1", chrono="c1", readings_fps=(0.0,) * 50, misreads=named))
    tested = park.events[-1].data
    assert isinstance(tested, MarkerTested)
    assert (tested.readings_fps, len(tested.misreads)) == ((), 100)


ANY = settings(deadline=None)
SHOWN = st.lists(st.sampled_from([0.0, 30.0, 40.0, 120.0, 284.9, 300.0, 500.0, 501.0, 900.0]), max_size=12)
NAMED = st.lists(
    st.builds(
        Misread,
        kind=st.sampled_from(["no_shot", "double_trigger", "beam_lost", "impossible"]),
        speed_fps=st.none() | st.sampled_from([0.0, 110.0, 281.0, 700.0]),
        after=st.integers(0, 14),
    ),
    max_size=5,
)
THEN = st.builds(
    VelocityRules, no_shot_fps=st.sampled_from([0.0, 35.0, 130.0]), impossible_fps=st.sampled_from([290.0, 600.0])
)


@ANY
@given(SHOWN, NAMED, THEN)
def test_sorting_out_drops_nothing_that_was_shown_and_nothing_that_was_named(shown, named, rules):
    readings, misreads = sorted_out(shown, named, rules)
    speeds = [*readings, *(one.speed_fps for one in misreads if one.speed_fps is not None)]
    assert sorted(speeds) == sorted([*shown, *(one.speed_fps for one in named if one.speed_fps is not None)])
    assert len(readings) + len(misreads) == len(shown) + len(named)
    for one in named:
        assert any(replace(kept, after=one.after) == one for kept in misreads)


@ANY
@given(SHOWN, NAMED, THEN)
def test_no_reading_is_left_out_for_being_high_but_one_that_cannot_be_true(shown, named, rules):
    _, misreads = sorted_out(shown, (), rules)
    assert all(one.kind == "impossible" for one in misreads if (one.speed_fps or 0) >= rules.no_shot_fps)
    readings, _ = sorted_out(shown, named, rules)
    assert list(readings) == [one for one in shown if rules.no_shot_fps <= one <= rules.impossible_fps]


@ANY
@given(SHOWN, NAMED, THEN)
def test_sorted_anew_by_the_same_rules_a_string_is_the_same(shown, named, rules):
    once = sorted_out(shown, named, rules)
    if not any(kind_of(one.speed_fps, rules) == one.kind for one in named if one.speed_fps is not None):
        assert sorted_anew(*once, rules, rules) == once
    readings, misreads = sorted_anew(*once, rules, rules)
    assert (readings, sorted(map(repr, misreads))) == (once[0], sorted(map(repr, once[1])))


@ANY
@given(SHOWN, NAMED, THEN, THEN)
def test_sorted_anew_by_other_rules_it_has_the_readings_that_those_would_have_left(shown, named, then, now):
    named = [one for one in named if one.speed_fps is None or kind_of(one.speed_fps, then) != one.kind]
    assert sorted_anew(*sorted_out(shown, named, then), then, now) == sorted_out(shown, named, now)
