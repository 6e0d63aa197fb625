"""Waits at the stations: what a line means for who joins it, from today's own turns, told as a range."""

from datetime import timedelta

import msgspec
import numpy as np
import pytest

from contracts.board import Range
from contracts.equipment import GearIssued
from contracts.registration import (
    PaymentRecorded,
    PlayerRegistered,
    RegisterGroup,
    RegisterPerson,
    RegisterPlayer,
)
from contracts.rules import StationPrior, WaitRules
from contracts.velocity import MarkerTested, StringOpened
from services.board.waits.foretelling import Turning, at_work, begins
from services.board.waits.model import on_the_wall, waits
from services.board.waits.ranges import between
from services.board.waits.telling import helping, telling
from services.board.waits.timing import Timed, timed
from services.board.waits.turns import SERVES, TURNS, Turn
from tests.unit.board_view import at_hand, open_park, shown
from tests.unit.scenario import NINE, Scenario

RULES = WaitRules()
SURE = StationPrior(minutes=2.0, variation=0.1, turns=0.1, pace=0.0)


def at(minutes):
    return NINE + timedelta(minutes=minutes)


def turn(server, first, last, whom="player:p", heads=1, *, opened=False):
    return Turn(server, at(first), at(last), whom, heads, opened)


def lengths(done, due=lambda _: at(-60)):
    """The minutes of every turn whose length can be told, where whoever it served has stood there since before nine."""
    return [one.minutes for one in timed(done, due, RULES)]


def registered(park, number, group=None):
    band = number % 9000 + 1
    park.given(
        PlayerRegistered(
            player=f"q{number}", person=f"h{number}", group=group, part="player", age_band=18,
            day_pass=f"qpass{number}", armband=band, briefing_due=1,
        )
    )  # fmt: skip


def paid(park, *numbers):
    park.given(
        PaymentRecorded(
            payment=f"pay{numbers[0]}", players=tuple(f"q{n}" for n in numbers), purpose="entry", means="card", amount_minor=1,
        )
    )  # fmt: skip


def issued(park, number):
    basis = park.moment().basis
    park.given(GearIssued(player=f"q{number}", marker=f"m{number}", mask=f"k{number}", bottle=None, basis=basis))


def string_opened(park, marker, chrono="c1"):
    park.given(
        StringOpened(
            test=f"t-{marker}",
            marker=marker,
            chrono=chrono,
            sealed=False,
            temperature_c=None,
            ball_g=None,
            rate_bps=None,
        )
    )


def shot(park, marker, chrono="c1"):
    park.given(
        MarkerTested(
            test=f"t-{marker}", marker=marker, chrono=chrono, readings_fps=(270.0, 271.0, 272.0), misreads=(),
            low_pressure=False, sealed=False, temperature_c=None, ball_g=None, rate_bps=None,
        )
    )  # fmt: skip


def desk(park, station="desk"):
    """The turns of a station as the board's projection folds them."""
    return TURNS.over(station, (event for event in park.events if SERVES.get(type(event.data)) == station))


# Turns


def test_what_is_recorded_about_the_same_people_is_one_turn_and_about_others_the_next():
    park = Scenario()
    registered(park, 1, "g1")
    registered(park.at(1), 2, "g1")
    paid(park.at(3), 1, 2)
    registered(park.at(5), 3)
    found = desk(park)
    assert [(one.first, one.last, one.heads) for one in found.done] == [(at(0), at(3), 2)]
    assert found.serving["test"].turn.whom == "player:q3"
    assert found.heads == 2


def test_a_marker_that_is_shot_again_at_once_is_still_in_its_turn():
    park = Scenario()
    string_opened(park, "m1")
    shot(park.at(2), "m1")
    string_opened(park.at(3), "m1")
    shot(park.at(5), "m1")
    string_opened(park.at(6), "m2")
    (one,) = desk(park, "chronograph").done
    assert (one.first, one.last, one.heads, one.opened) == (at(0), at(5), 1, True)


def test_who_comes_back_later_comes_for_another_turn():
    park = Scenario()
    issued(park, 1)
    issued(park.at(40), 1)
    assert len(desk(park, "gear counter").done) == 1


def test_two_instruments_serve_beside_each_other():
    park = Scenario()
    string_opened(park, "m1", "c1")
    string_opened(park, "m2", "c2")
    shot(park.at(2), "m1", "c1")
    shot(park.at(3), "m2", "c2")
    assert set(desk(park, "chronograph").serving) == {"c1", "c2"}


def test_what_comes_late_tells_nothing_of_the_pace():
    park = Scenario()
    issued(park.at(10), 1)
    issued(park.at(12), 2)
    before = desk(park, "gear counter")
    park.given(
        GearIssued(player="q3", marker="m3", mask=None, bottle=None, basis=park.moment().basis), occurred_at=at(11)
    )
    assert desk(park, "gear counter") == before


def test_a_new_day_begins_without_the_turns_of_the_day_before():
    park = Scenario()
    issued(park, 1)
    issued(park.at(2), 2)
    issued(park.at(24 * 60), 3)
    assert (desk(park, "gear counter").done, desk(park, "gear counter").heads) == ((), 0)


# How long a turn takes


def test_a_turn_runs_from_the_end_of_the_one_before_where_somebody_stood_in_line():
    assert lengths([turn("a", 0, 0), turn("a", 3, 3), turn("a", 5, 5)]) == [3, 2]


def test_while_nobody_stood_in_line_the_server_was_idle_and_the_gap_is_no_turn():
    came = {"player:late": at(4)}
    found = timed(
        [turn("a", 0, 0), turn("a", 6, 6, "player:late"), turn("a", 8, 8)],
        lambda one: came.get(one.whom, at(-60)),
        RULES,
    )
    assert [one.minutes for one in found] == [2]


def test_a_string_that_was_opened_after_an_idle_time_is_timed_from_its_opening():
    came = {"marker:late": at(9)}
    found = timed(
        [turn("c", 0, 2, "marker:m", opened=True), turn("c", 10, 12, "marker:late", opened=True)],
        lambda one: came.get(one.whom, at(-60)),
        RULES,
    )
    assert [one.minutes for one in found] == [2, 2]


def test_each_server_is_timed_by_itself():
    assert lengths([turn("a", 0, 0), turn("b", 1, 1), turn("a", 4, 4), turn("b", 6, 6)]) == [4, 5]


def test_a_line_that_was_left_standing_was_left_for_a_break():
    assert lengths([turn("a", 0, 0), turn("a", 21, 21)]) == []
    assert lengths([turn("a", 0, 0), turn("a", 20, 20)]) == [20]


def test_at_the_desk_a_turn_follows_where_its_first_entry_came_soon():
    unknown = lambda _: None  # noqa: E731
    assert lengths([turn("d", 0, 2), turn("d", 5, 8), turn("d", 12, 14)], unknown) == [6]


# Foretelling


def test_with_nobody_in_line_it_is_your_turn_at_once():
    assert begins(Turning([], SURE, 1), 0, [1.0]).tolist() == [[0.0]] * 400


def test_a_line_of_equal_turns_takes_their_sum():
    """Nine turns of exactly two minutes beside a prior that hardly counts: the fourth in line waits two to six minutes."""
    found = begins(Turning([Timed(2.0, 1)] * 400, SURE, 1), 4, [0.0])
    assert np.median(found, axis=0) == pytest.approx([0, 2, 4, 6, 8], abs=0.15)


def test_two_servers_halve_the_line():
    sure = Turning([Timed(2.0, 1)] * 400, SURE, 1)
    assert np.median(begins(sure, 8, [0.0, 0.0])[:, -1]) == pytest.approx(8, abs=0.2)
    assert np.median(begins(sure, 8, [0.0], more=1)[:, -1]) == pytest.approx(7, abs=1.1)


def test_a_turn_that_serves_many_empties_the_line_at_once():
    found = begins(Turning([Timed(10.0, 20)] * 400, SURE, 1), 25, [4.0])
    assert np.median(found[:, -1]) == pytest.approx(6, abs=0.3)


def test_nobody_joins_a_briefing_that_has_begun():
    assert np.median(begins(Turning([Timed(10.0, 20)] * 400, SURE, 1), 5, [4.0])[:, -1]) == pytest.approx(6, abs=0.3)


def test_a_briefing_takes_as_many_as_the_largest_of_today():
    """Five are in the one that began four minutes ago; the other twenty, and not five of them, hear the next."""
    together = StationPrior(minutes=10.0, variation=0.1, turns=0.1, together=True)
    found = begins(Turning([Timed(10.0, 5)] * 400 + [Timed(10.0, 20)], together, 1), 25, [4.0])
    assert np.median(found[:, -1]) == pytest.approx(16, abs=0.3)


def test_a_turn_began_when_the_one_before_ended_or_later_when_somebody_came_to_stand_there():
    turning = Turning([Timed(2.0, 1)] * 400, SURE, 1)
    assert at_work(turning, [9.0], [2.0]) == [2.0]
    assert at_work(turning, [1.0, 9.0], [5.0, 3.0]) == [5.0, 1.0]


def test_what_is_left_of_a_turn_is_of_turns_that_take_longer_than_it_has_taken():
    turning = Turning([Timed(1.0, 1)] * 300 + [Timed(9.0, 1)] * 300, SURE, 1)
    assert np.quantile(turning.left(3.0), (0.05, 0.95)) == pytest.approx([6, 6])


def test_a_range_is_wide_while_few_turns_were_seen_and_narrows_as_the_day_teaches():
    def width(today):
        low, high = np.quantile(begins(Turning(today, RULES.chronograph, 3), 10, [1.0])[:, -1], (0.1, 0.9))
        return high - low

    assert width([Timed(2.0, 1)] * 100) < 0.8 * width([Timed(2.0, 1)] * 3) < 0.5 * width([])


def test_the_same_record_gives_the_same_range():
    one, other = (begins(Turning([Timed(2.0, 1)] * 5, RULES.desk, 7), 9, [1.0]) for _ in range(2))
    assert (one == other).all()


def test_a_line_that_nobody_serves_has_no_wait():
    with pytest.raises(ValueError, match="name at least one server"):
        begins(Turning([], SURE, 1), 3, [])


# In words


def test_it_is_told_what_a_second_bench_would_do_where_that_is_worth_it():
    assert (
        helping("chronograph", 1, 24.2, 6.1, RULES)
        == "A second bench at the chronograph would cut the wait from about 24 to about 6 minutes."
    )
    assert helping("chronograph", 1, 24.0, 19.1, RULES) is None
    assert helping("chronograph", 0, None, 0.0, RULES) is None
    assert (
        helping("desk", 2, 9.0, 0.2, RULES)
        == "A third place at the desk would cut the wait from about 9 to less than a minute."
    )


def test_a_range_is_told_in_whole_minutes():
    assert between(Range(low=3.6, likely=6, high=9.4)) == "about 4 to 9 minutes"
    assert between(Range(low=0.8, likely=1, high=1.2)) == "about 1 minute"
    assert between(Range(low=0.1, likely=0.2, high=0.4)) == "less than a minute"


def test_a_line_that_grows_is_told_as_one_that_grows():
    wait = Range(low=3, likely=6, high=9)
    assert telling("desk", 5, wait, 2.0, 1.9) == (
        "Who joins now waits about 3 to 9 minutes. More come (2.0 a minute) than are served (1.9): the line grows for as long as that lasts."
    )
    assert telling("desk", 5, wait, 1.8, 1.9) == "Who joins now waits about 3 to 9 minutes."
    assert telling("desk", 5, None, 2.0, 0.0) == "Nobody has served at the desk of late: 5 wait."
    assert telling("desk", 0, wait, 2.0, 1.9) == "Nobody waits: it is your turn."


# The park


def line_up(park, people):
    """So many who are registered and have not paid."""
    for number in range(1, people + 1):
        park.when(RegisterPerson(person=f"v{number}", age_band=18))
        park.when(
            RegisterPlayer(player=f"q{number}", person=f"v{number}", day_pass=f"qp{number}", armband=100 + number)
        )
    return park


def test_the_wall_shows_the_wait_of_who_joins_now_and_the_record_names_nobody():
    park = line_up(open_park(), 6)
    made = waits(at_hand(park), "larchmoor", 1)
    status = on_the_wall(shown(park), made)
    desk_now = made.stations["desk"]
    assert (desk_now.waiting, desk_now.servers) == (6, 1)
    assert status.stations["desk"].wait == desk_now.wait
    assert desk_now.wait.low < desk_now.wait.likely < desk_now.wait.high
    assert [one.armband for one in desk_now.line] == [101, 102, 103, 104, 105, 106]
    assert status.stations["staging"].wait is None


def test_who_has_stood_longest_is_served_first_and_a_group_is_told_when_its_first_and_last_are():
    park = open_park()
    park.when(RegisterGroup(group="g7", size=2))
    for number in range(1, 10):
        park.at(10 + number).when(RegisterPerson(person=f"v{number}", age_band=18))
        group = "g7" if number in {1, 9} else None
        park.when(
            RegisterPlayer(
                player=f"q{number}", person=f"v{number}", group=group, day_pass=f"qp{number}", armband=100 + number
            )
        )
    line = waits(at_hand(park), "larchmoor", 1).stations["desk"].line
    assert [(one.group, one.armband, one.heads) for one in line[:2]] == [("g7", None, 2), (None, 102, 1)]
    assert line[0].first.high == 0
    assert line[0].last.likely > line[6].first.likely > line[1].first.likely


def test_where_nobody_has_served_of_late_no_wait_is_told():
    park = line_up(open_park(), 2).at(90)
    desk_now = waits(at_hand(park), "larchmoor", 1).stations["desk"]
    assert (desk_now.servers, desk_now.wait, desk_now.line) == (0, None, ())
    assert desk_now.says == "Nobody has served at the desk of late: 2 wait."


def test_who_joins_the_line_faster_than_it_is_served_makes_it_grow_without_bound():
    park = line_up(open_park(), 30)
    desk_now = waits(at_hand(park), "larchmoor", 1).stations["desk"]
    assert desk_now.joined_a_minute == pytest.approx(33 / 30, abs=0.01)
    assert (desk_now.utilisation > 1, desk_now.steady_minutes) == (True, None)
    assert desk_now.says.endswith("the line grows for as long as that lasts.")
    assert desk_now.helps.startswith("A second place at the desk would cut the wait from about ")


def test_a_chronographs_turns_are_timed_by_when_the_carrier_of_the_marker_came_to_stand_there():
    """The markers of p1 to p3 were issued by 9:03. After a quiet half hour the first is timed from its opening, the others from the end of the one before."""
    park = open_park()
    for number, (opens, ends) in enumerate(((30, 32), (33, 35), (36, 37)), start=1):
        string_opened(park.at(opens), f"m{number}")
        shot(park.at(ends), f"m{number}")
    string_opened(park.at(38), "m9")
    made = waits(at_hand(park), "larchmoor", 1).stations["chronograph"]
    assert (made.turns, made.servers) == (3, 1)
    assert made.minutes_a_head == pytest.approx((2 + 3 + 2 + 5 * 2.0) / 8, abs=0.15)


def test_the_pace_of_the_next_turns_strays_from_todays_by_as_much_as_the_prior_says():
    """Fifty turns of two minutes are a hundred; with a tenth of straying eight of ten lie between 88 and 114, by the normal's 1.2816."""
    straying = msgspec.structs.replace(SURE, pace=0.1)
    last = begins(Turning([Timed(2.0, 1)] * 4000, straying, 1), 51, [0.0])[:, -1]
    assert np.quantile(last, (0.1, 0.5, 0.9)) == pytest.approx((88, 100, 114), abs=3)
    assert np.ptp(begins(Turning([Timed(2.0, 1)] * 4000, SURE, 1), 51, [0.0])[:, -1]) < 2
