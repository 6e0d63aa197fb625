"""A small simulated Saturday, seeded: the rotation against first come first served by hand on the same luck, and ranges that hold as often as they say.

A third of the day that `tests/bench/saturday.py` measures, three times over: four fields, a hundred groups, five hundred people.
"""

import numpy as np
import pytest

from tests.bench.saturday import faults, games_played, idle, saturday, waited
from tests.bench.saturday_callers import by_hand
from tests.bench.saturday_day import Park, Standing, run
from tests.bench.saturday_ranges import coverage
from tests.bench.saturday_stations import journeys
from tests.bench.saturday_world import Ground, Group, world

SHARE = 0.34
SEEDS = (2, 3, 5)


@pytest.fixture(scope="module")
def days():
    return [saturday(seed, SHARE) for seed in SEEDS]


def test_nobody_is_on_a_list_who_does_not_fit_has_not_rested_or_plays_elsewhere_and_groups_are_whole(days):
    assert [faults(day) for day in days] == [[], [], []]


def test_nobody_is_called_by_the_rotation_who_is_not_cleared_and_by_hand_some_are(days):
    assert [day.rotation.not_cleared for day in days] == [[], [], []]
    assert all(day.by_hand.not_cleared for day in days)


def test_the_rotation_lets_nineteen_of_twenty_wait_less_than_by_hand(days):
    assert np.mean([waited(day.rotation) / waited(day.by_hand) for day in days]) < 0.95


def test_the_rotation_plays_more_games_than_by_hand(days):
    assert all(games_played(day.rotation) > games_played(day.by_hand) for day in days)


def test_each_plan_takes_less_than_a_second(days):
    assert max(seconds for day in days for seconds in day.seconds) < 1.0


def test_the_ranges_until_one_plays_hold_about_as_often_as_they_say(days):
    """Eighty of a hundred are stated. Those of one day hang together, so three days' share may well be off by some hundredths."""
    told = [one for day in days for one in day.of_games]
    assert len(told) > 1000
    assert coverage(told) == pytest.approx(0.8, abs=0.08)


def test_the_ranges_until_one_is_served_hold_about_as_often_as_they_say(days):
    told = [one for day in days for one in day.of_stations]
    assert len(told) > 500
    assert coverage(told) == pytest.approx(0.8, abs=0.12)


def test_both_ways_meet_the_same_people_at_the_same_times():
    one, other = world(5, SHARE), world(5, SHARE)
    assert one == other
    assert journeys(one) == journeys(other)
    assert sum(group.size for group in world(5).groups) == 1500
    assert (
        len(
            {
                group.name.partition("-1")[0] if group.name.startswith("coach") else group.name
                for group in world(5).groups
            }
        )
        >= 300
    )


# By hand


def standing(name, size, since, *, youngest=18, here=True):
    return Standing(Group(name, size, youngest, 0, 0.0, 200.0), 400.0, here, since)


def park(*groups, places=20, floor=12):
    day = world(1, SHARE)
    made = type(day)(
        1, (Ground("fir", places, floor, low_limit=False, minutes=15.0),), tuple(one.group for one in groups), day.hold
    )
    return Park(made, 60.0, {one.group.name: one for one in groups}, {"fir": 60.0}, set(), set())


def names(*groups, **field):
    return [called for _, called in by_hand(park(*groups, **field))]


def test_by_hand_groups_are_taken_in_order_until_the_next_one_has_no_room_any_more():
    groups = (standing("c", 4, 30.0), standing("a", 8, 10.0), standing("b", 8, 20.0), standing("d", 2, 40.0))
    assert names(*groups) == [("a", "b", "c")]
    assert names(*groups, places=18) == [("a", "b")]


def test_by_hand_who_may_not_play_there_or_is_not_there_is_passed_over():
    groups = (standing("a", 8, 10.0, youngest=10), standing("b", 8, 20.0), standing("c", 8, 30.0, here=False))
    assert names(*groups) == [("b",)]


def test_by_hand_no_game_is_called_for_five():
    assert names(standing("a", 5, 10.0)) == []
    assert names(standing("a", 6, 10.0)) == [("a",)]


def test_a_gate_waits_five_minutes_and_not_longer():
    day = world(3, SHARE)
    found = run(day, journeys(day), by_hand, recorded=False)
    assert max(game.starts - game.called for game in found.games) == 5.0
    assert min(game.starts - game.called for game in found.games) == 0.0
    assert idle(found, len(day.grounds)) > 0
