"""When do we play? The published plan and the called games, moved by how late today's games were, as ranges that name nobody."""

import numpy as np
import pytest

from contracts.games import AskHold, CallGame, CountHeads, EndGame, Entrant, StartGame
from contracts.rules import WaitRules
from services.board.waits.model import on_the_wall, waits
from services.board.waits.plays import Coming, Lateness, excesses, lane, starts
from tests.unit.board_view import at_hand, open_park, shown
from tests.unit.test_clearance import called
from tests.unit.test_rotation_board import KESTREL, member, publish

RULES = WaitRules()
STEADY = WaitRules(late_minutes=0, late_spread_minutes=0.01, replanned=0, missed_rounds=0)


@pytest.fixture
def park():
    """Birch is open; kestrel has five and heron four players ready; p1 to p3 came alone."""
    made = open_park()
    for number in range(11, 16):
        member(made, number, "kestrel")
    for number in range(21, 25):
        member(made, number, "heron")
    return made


def plays(park):
    return waits(at_hand(park), "larchmoor", 1).plays


def test_everybody_in_the_published_plan_is_told_when_and_nobody_by_name(park):
    publish(park)
    found = plays(park)
    assert set(found) == {"kestrel", "heron", "armband:1", "armband:2", "armband:3"}
    assert found["kestrel"].field == "birch"
    assert found["kestrel"].says.startswith("On Birch in ")


def test_without_a_plan_nobody_is_told_anything(park):
    assert plays(park) == {}


def test_who_is_called_is_told_his_game_and_not_a_later_one(park):
    called(park, "g1", *KESTREL)
    found = plays(park)
    assert (found["kestrel"].game, found["kestrel"].starts.low) == ("g1", 0)
    assert "heron" not in found


def test_who_waits_for_a_game_that_runs_waits_at_least_about_as_long_as_it_and_its_break_take(park):
    called(park, "g1", "p1", "p2")
    park.when(StartGame(game="g1"))
    called(park.at(12), "g2", *KESTREL)
    told = plays(park)["kestrel"].starts
    assert told.low < 13 + 7 < told.high
    assert told.likely == pytest.approx(13 + 7, abs=4)


def test_on_a_field_that_is_held_nobody_knows_when(park):
    publish(park)
    park.when(AskHold(hold="h", field="birch"))
    assert {one.says for one in plays(park).values()} == {"On Birch once it is open: nobody knows when."}
    assert all(one.starts is None for one in plays(park).values())


def test_what_is_far_ahead_is_told_without_a_range(park):
    park.when(CallGame(game="g1", field="birch", minutes=90, entrants=(Entrant(player="p1", colour="red"),)))
    park.when(StartGame(game="g1"))
    called(park, "g2", *KESTREL)
    told = plays(park)["kestrel"]
    assert (told.starts, told.says) == (None, "On Birch, in more than 60 minutes. Look again.")


def test_the_wall_tells_groups_only(park):
    publish(park)
    told = on_the_wall(shown(park), waits(at_hand(park), "larchmoor", 1)).plays
    assert {one.group for one in told} == {"kestrel", "heron"}


def test_by_how_much_todays_games_were_late_is_measured_from_start_to_start(park):
    """Fifteen minutes and a break of seven were planned; it took 27. After a long quiet time nothing followed."""
    for number, start in enumerate((10, 37, 120)):
        called(park.at(start), f"g{number}", "p1", "p2")
        park.when(StartGame(game=f"g{number}"))
        park.at(start + 18).when(EndGame(game=f"g{number}"))
        park.when(CountHeads(game=f"g{number}", counted=2))
    assert list(excesses(at_hand(park))) == [5.0]


def test_a_fields_games_move_on_to_when_it_is_free_and_the_one_before_is_over():
    games = [Coming(-5.0, 15.0, ("a",)), Coming(12.0, 15.0, ("b",)), Coming(60.0, 15.0, ("c",))]
    assert [one.start for one in lane(games, 4.0, 7.0)] == [4.0, 26.0, 60.0]


def test_lateness_adds_up_from_game_to_game():
    found = np.median(starts([0, 22, 44], Lateness([3.0] * 400, STEADY, 1)), axis=0)
    assert found == pytest.approx([3, 28, 53], abs=0.1)


def test_the_further_ahead_the_wider_the_range():
    found = starts([5, 27, 49], Lateness([0.0, 2.0, 4.0] * 5, RULES, 1))
    low, high = np.quantile(found, (0.1, 0.9), axis=0)
    assert (np.diff(high - low) > 0).all()


def test_now_and_then_a_group_misses_its_round():
    always = WaitRules(late_minutes=0, late_spread_minutes=0.01, replanned=0, missed_rounds=1, round_minutes=10)
    found = starts([30.0], Lateness([], always, 1))
    assert np.quantile(found, (0.02, 0.5, 0.98)) == pytest.approx([30.4, 40, 49.6], abs=1.5)


def test_nothing_begins_before_now():
    assert starts([0.0], Lateness([-9.0] * 50, RULES, 1)).min() == 0.0
