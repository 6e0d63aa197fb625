"""Which games serve a sit-out, and which do not. Common practice of the trade, no source."""

import pytest

from contracts.discipline import ReinstatePlayer, VoidCaution
from contracts.envelope import Reason
from contracts.games import Entrant, GameStarted, Offender, PlayerAdmitted, PlayerOut
from contracts.park import RulesAdopted
from contracts.registration import MinorHandedOver, PlayerLeft, PlayerReturned, RotationAssigned
from contracts.rules import DisciplineRules, GameRules, Rules
from services.discipline.standing import standing
from services.discipline.states import RECORD, ROTATION
from tests.unit.discipline_day import (
    BASIS,
    abandon,
    caution,
    clock,
    codes,
    discipline_day,
    end,
    found,
    play,
    registered,
    start,
)

NEVER_STOPPED = {"birch": ()}


@pytest.fixture
def day():
    return discipline_day()


@pytest.fixture
def cautioned(day):
    """Player p1 was cautioned at ten past nine."""
    caution(day, "c1")
    return day


@pytest.fixture
def lenient(day):
    """A park that ejects at the third caution, so that two can be owed."""
    return day.given(RulesAdopted(rules=Rules(version="mild", discipline=DisciplineRules(cautions_to_eject=3))))


def moved(day, rotation, minute):
    day.at(minute).given(RotationAssigned(rotation=rotation, field="birch", players=("p1",)))


def owed(day, stops=NEVER_STOPPED):
    record = day.state(RECORD, "p1")
    rotations = {name: day.state(ROTATION, name) for name in record.rotation_ids}
    return standing(record, rotations, day.moment(), stops).sit_outs_owed


def test_the_next_full_game_of_the_rotation_serves_it_once_it_has_ended(cautioned):
    start(cautioned, "g1", 20)
    assert codes(cautioned.at(34)) == ["sitting_out"]
    end(cautioned, "g1", 20, 35)
    assert codes(cautioned) == []


def test_a_game_that_had_started_before_the_caution_does_not_serve_it(day):
    start(day, "g1", 5)
    caution(day.at(10), "c1")
    end(day, "g1", 5, 20)
    assert codes(day) == ["sitting_out"]


def test_a_game_that_starts_at_the_very_moment_of_the_act_serves_it_only_when_recorded_after_it(day):
    start(day, "g1", 10)
    caution(day, "c1")
    end(day, "g1", 10, 25)
    assert codes(day) == ["sitting_out"]
    caution(day.at(40), "c2", player="p2")
    play(day, "g2", 40)
    assert codes(day, "p2") == []


def test_an_abandoned_game_does_not_serve_it_even_if_its_end_is_recorded_later(cautioned):
    start(cautioned, "g1", 20)
    abandon(cautioned, "g1", 25)
    end(cautioned, "g1", 20, 35)
    assert codes(cautioned) == ["sitting_out"]


def test_a_game_that_had_ended_stays_served_when_someone_abandons_it_afterwards(cautioned):
    play(cautioned, "g1", 20)
    abandon(cautioned, "g1", 40)
    assert codes(cautioned) == []


def test_a_game_shorter_than_the_rule_does_not_serve_it(cautioned):
    play(cautioned, "g1", 20, full=False)
    assert codes(cautioned) == ["sitting_out"]


def test_a_game_of_another_rotation_or_of_none_does_not_serve_it(cautioned):
    play(cautioned, "g1", 20, rotation="amber")
    play(cautioned, "g2", 40, rotation=None)
    assert codes(cautioned) == ["sitting_out"]


def test_a_game_that_he_was_on_the_list_of_does_not_serve_it(cautioned):
    play(cautioned, "g1", 20, "p1")
    assert codes(cautioned) == ["sitting_out"]
    play(cautioned, "g2", 40)
    assert codes(cautioned) == []


def test_a_game_that_he_was_let_into_later_does_not_serve_it(cautioned):
    start(cautioned, "g1", 20, kind="respawn")
    cautioned.at(22).given(PlayerAdmitted(basis=BASIS, player="p1", field="birch", game="g1", colour="red"))
    end(cautioned, "g1", 20, 35, kind="respawn")
    assert codes(cautioned) == ["sitting_out"]


def test_a_game_that_started_without_him_serves_it_although_it_names_him_as_left_out(cautioned):
    offender = Offender(player="p1", reasons=(Reason(code="sitting_out", sentence="", where="staging"),))
    started = GameStarted(
        basis=BASIS,
        game="g1",
        field="birch",
        rotation="green",
        format="elimination",
        minutes=15,
        entrants=(Entrant(player="p2", colour="red"),),
        left_out=(offender,),
    )
    cautioned.at(20).given(started)
    end(cautioned, "g1", 20, 35, "p2")
    assert codes(cautioned) == []


def test_a_game_during_or_after_which_he_left_does_not_serve_it(cautioned):
    start(cautioned, "g1", 20)
    cautioned.at(30).given(PlayerLeft(player="p1"))
    end(cautioned, "g1", 20, 35)
    play(cautioned, "g2", 40)
    assert codes(cautioned) == ["sitting_out"]


def test_a_game_that_starts_after_he_has_come_back_serves_it(cautioned):
    cautioned.at(15).given(PlayerLeft(player="p1"))
    start(cautioned, "g1", 20)
    cautioned.at(25).given(PlayerReturned(player="p1"))
    end(cautioned, "g1", 20, 35)
    assert codes(cautioned) == ["sitting_out"]
    play(cautioned, "g2", 40)
    assert codes(cautioned) == []


def test_a_minor_handed_over_is_off_the_park(cautioned):
    cautioned.at(15).given(MinorHandedOver(player="p1", adult="person-rowan"))
    play(cautioned, "g1", 20)
    assert codes(cautioned) == ["sitting_out"]


def test_who_has_moved_to_another_rotation_serves_it_there(cautioned):
    moved(cautioned, "amber", 15)
    play(cautioned, "g1", 20)
    assert codes(cautioned) == ["sitting_out"]
    play(cautioned, "g2", 40, rotation="amber")
    assert codes(cautioned) == []


def test_a_game_that_started_before_he_moved_there_does_not_serve_it(cautioned):
    start(cautioned, "g1", 20, rotation="amber")
    moved(cautioned, "amber", 25)
    end(cautioned, "g1", 20, 35, rotation="amber")
    assert codes(cautioned) == ["sitting_out"]


def test_a_late_caution_is_served_by_a_game_that_he_missed_meanwhile(day):
    play(day, "g1", 20)
    caution(day.at(50), "c1", minute=12)
    assert codes(day) == []


def test_one_game_serves_one_sit_out(lenient):
    caution(lenient.at(10), "c1")
    caution(lenient.at(20), "c2")
    play(lenient, "g1", 30)
    assert found(lenient)[0].sentence == "You are sitting out. 1 full game of your rotation to go."
    play(lenient, "g2", 50)
    assert codes(lenient) == []


def test_a_served_game_offsets_a_later_caution_when_the_first_is_voided(cautioned):
    play(cautioned, "g1", 20)
    cautioned.at(40).when(VoidCaution(caution="c1", player="p1", cause="not_a_violation"))
    caution(cautioned.at(50), "c2")
    assert codes(cautioned) == []


def test_a_served_game_is_spent_once(lenient):
    caution(lenient.at(10), "c1")
    caution(lenient.at(16), "c2")
    play(lenient, "g1", 20)
    lenient.at(40).when(VoidCaution(caution="c1", player="p1", cause="not_a_violation"))
    assert owed(lenient) == 0
    play(lenient, "g2", 45)
    caution(lenient.at(70), "c3")
    assert owed(lenient) == 1


def test_a_caution_voided_before_the_game_ended_was_not_served_by_it(cautioned):
    start(cautioned, "g1", 20)
    cautioned.at(25).when(VoidCaution(caution="c1", player="p1", cause="not_a_violation"))
    end(cautioned, "g1", 20, 35)
    caution(cautioned.at(50), "c2")
    assert codes(cautioned) == ["sitting_out"]


def test_what_was_forgiven_unserved_and_voided_later_offsets_nothing(day):
    caution(day.at(10), "c1")
    caution(day.at(16), "c2")
    day.at(18).when(ReinstatePlayer(player="p1"))
    play(day, "g1", 20)
    day.at(40).when(VoidCaution(caution="c1", player="p1", cause="not_a_violation"))
    caution(day.at(50), "c3")
    assert codes(day) == ["sitting_out"]


def test_a_game_told_twice_serves_once(lenient):
    caution(lenient.at(10), "c1")
    caution(lenient.at(16), "c2")
    play(lenient, "g1", 20)
    play(lenient, "g1", 40)
    assert owed(lenient) == 1


def test_an_end_whose_start_was_never_told_serves_by_the_start_that_it_names(cautioned):
    end(cautioned, "g1", 11, 30)
    assert codes(cautioned) == []


def test_the_number_of_served_sit_outs_is_known(cautioned):
    play(cautioned, "g1", 20)
    rotations = {"green": cautioned.state(ROTATION, "green")}
    now = standing(cautioned.state(RECORD, "p1"), rotations, cautioned.moment(), {})
    assert (now.sit_outs_served, now.sit_outs_owed, [one.caution for one in now.counted]) == (1, 0, ["c1"])


# continuous games


@pytest.fixture
def running(day):
    """A continuous game runs from nine; p1 was in it, was cautioned at ten past, and walked off two minutes later."""
    start(day, "g1", 0.5, "p1", kind="continuous")
    caution(day.at(10), "c1")
    day.at(12).given(PlayerOut(player="p1", field="birch", game="g1", cause="sent_off"))
    return day


@pytest.mark.parametrize(("minute", "expected"), [(31.98, ["sitting_out"]), (32, [])])
def test_a_continuous_game_serves_it_by_twenty_minutes_of_play_off_the_field(running, minute, expected):
    assert codes(running.at(minute), stops=NEVER_STOPPED) == expected


def test_minutes_in_which_play_was_stopped_do_not_count(running):
    stops = {"birch": [(clock(15), clock(20)), (clock(18), clock(25))]}
    assert codes(running.at(41.98), stops=stops) == ["sitting_out"]
    assert codes(running.at(42), stops=stops) == []
    assert codes(running.at(100), stops={"birch": [(clock(15), None)]}) == ["sitting_out"]


def test_where_the_stops_of_a_field_are_not_known_its_minutes_serve_nothing(running):
    assert codes(running.at(100)) == ["sitting_out"]


def test_who_stays_on_the_field_serves_nothing(day):
    start(day, "g1", 0.5, "p1", kind="continuous")
    caution(day.at(10), "c1")
    assert codes(day.at(100), stops=NEVER_STOPPED) == ["sitting_out"]


def test_a_sit_out_served_by_minutes_stays_served_when_he_is_back_in_and_when_the_game_is_abandoned(running):
    running.at(33).given(PlayerAdmitted(basis=BASIS, player="p1", field="birch", game="g1", colour="red"))
    abandon(running, "g1", 60)
    assert codes(running.at(90), stops=NEVER_STOPPED) == []


def test_a_continuous_game_that_ends_early_serves_only_the_minutes_it_was_played(running):
    end(running, "g1", 0.5, 25, "p1", kind="continuous")
    assert codes(running.at(90), stops=NEVER_STOPPED) == ["sitting_out"]
    start(running, "g2", 100, kind="continuous")
    assert codes(running.at(106.9), stops=NEVER_STOPPED) == ["sitting_out"]
    assert codes(running.at(107), stops=NEVER_STOPPED) == []


def test_one_minute_serves_one_sit_out(lenient):
    start(lenient, "g1", 5, kind="continuous")
    caution(lenient.at(10), "c1")
    caution(lenient.at(20), "c2")
    assert [owed(lenient.at(minute)) for minute in (29, 30, 49, 50)] == [2, 1, 1, 0]


def test_a_sit_out_served_by_minutes_and_voided_afterwards_offsets_the_next(running):
    running.at(50).when(VoidCaution(caution="c1", player="p1", cause="not_a_violation"))
    caution(running.at(60), "c2")
    assert codes(running, stops=NEVER_STOPPED) == []


def test_minutes_after_he_left_or_in_another_rotation_do_not_count(running):
    moved(running, "amber", 20)
    assert codes(running.at(90), stops=NEVER_STOPPED) == ["sitting_out"]
    moved(running, "green", 100)
    running.at(105).given(PlayerLeft(player="p1"))
    assert codes(running.at(200), stops=NEVER_STOPPED) == ["sitting_out"]


def test_minutes_off_the_park_do_not_count_and_those_after_his_return_do(running):
    running.at(22).given(PlayerLeft(player="p1"))
    running.at(50).given(PlayerReturned(player="p1"))
    assert codes(running.at(59.9), stops=NEVER_STOPPED) == ["sitting_out"]
    assert codes(running.at(60), stops=NEVER_STOPPED) == []


def test_the_minutes_are_a_rule_of_the_park(running):
    running.given(RulesAdopted(rules=Rules(version="short", games=GameRules(continuous_sit_out_minutes=6))))
    assert codes(running.at(17.9), stops=NEVER_STOPPED) == ["sitting_out"]
    assert codes(running.at(18), stops=NEVER_STOPPED) == []


def test_a_late_word_of_leaving_the_field_counts_from_when_it_happened(day):
    start(day, "g1", 0.5, "p1", kind="continuous")
    caution(day.at(10), "c1")
    gone = PlayerOut(player="p1", field="birch", game=None, cause="walked_off")
    day.at(40).given(gone, occurred_at=clock(15))
    assert codes(day, stops=NEVER_STOPPED) == []


def test_a_player_registered_twice_keeps_his_first_arrival(cautioned):
    play(cautioned, "g1", 20)
    cautioned.given(registered("p1"))
    assert codes(cautioned) == []
