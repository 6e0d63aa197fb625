"""Closing the park: who has not left, children first, what is left open; "everybody has left" is said only when it is so. Common practice, no source."""

from datetime import timedelta

import pytest

from contracts.closing import Closing
from contracts.duty import DoCheck
from contracts.equipment import ReturnGear
from contracts.games import AbandonGame, AskHold, CountHeads, EndGame, FindPlayer, LiftHold, StartGame, SweepField
from contracts.incidents import RecordIncident
from contracts.park import CloseDay, DayClosed
from contracts.registration import (
    GiveConsent,
    HandOverMinor,
    RecordGuardianLeft,
    RecordLeft,
    RecordReturn,
    RegisterPerson,
    RegisterPlayer,
)
from services.board.closing import closing, from_the_log
from services.park.model import close_day
from tests.unit.board_view import at_hand, open_park
from tests.unit.scenario import NINE, Scenario
from tests.unit.test_clearance import called, played


@pytest.fixture
def park() -> Scenario:
    """Ten past nine: p1 to p3 are of age, each with hired gear; kid is twelve, its parent is in the park and no player."""
    park = open_park()
    for person, band in (("parent", 18), ("aunt", 18), ("kid", 12)):
        park.when(RegisterPerson(person=person, age_band=band))
    park.when(GiveConsent(person="kid", guardian="parent", relationship="parent", wording="w1"))
    park.when(RegisterPlayer(player="kid", person="kid", day_pass="pass9", armband=9))  # noqa: S106
    return park


def seen(park: Scenario) -> Closing:
    hand = at_hand(park)
    log = park.load(lambda _: from_the_log(hand.moment.day))
    return closing(hand, log, park.moment(), "larchmoor", 1)


def everybody_goes(park: Scenario) -> None:
    for number in (1, 2, 3):
        park.when(ReturnGear(player=f"p{number}", marker=f"m{number}", mask=f"k{number}"))
        park.when(RecordLeft(player=f"p{number}"))
    park.when(HandOverMinor(player="kid", adult="parent"))


def test_an_uncollected_child_comes_first_with_the_adult_who_answers_for_it(park):
    found = seen(park)
    assert [(one.player, one.minor, one.adults) for one in found.still_here] == [
        ("kid", True, ("parent",)),
        ("p1", False, ()),
        ("p2", False, ()),
        ("p3", False, ()),
    ]
    assert (found.everybody_has_left, found.minors_here) == (False, 1)
    assert found.sentence.startswith("4 not recorded as having left, 1 of them minors: stay with them")


def test_the_adult_is_the_one_whom_the_guardian_named_when_he_left_and_none_when_he_named_nobody(park):
    park.when(RecordGuardianLeft(players=("kid",), guardian="parent", responsible="aunt"))
    assert seen(park).still_here[0].adults == ("aunt",)
    park.at(20).when(RecordGuardianLeft(players=("kid",), guardian="aunt", responsible=None))
    assert seen(park).still_here[0].adults == ()


def test_everybody_has_left_only_once_the_last_child_was_handed_over(park):
    for number in (1, 2, 3):
        park.when(RecordLeft(player=f"p{number}"))
    assert [one.player for one in seen(park).still_here] == ["kid"]
    assert not seen(park).everybody_has_left
    park.when(HandOverMinor(player="kid", adult="parent"))
    found = seen(park)
    assert (found.everybody_has_left, found.still_here, found.minors_here) == (True, (), 0)
    assert found.sentence.startswith("Everybody has left: all 4 who were registered today.")


def test_who_comes_back_is_here_again(park):
    everybody_goes(park)
    park.at(20).when(RecordReturn(player="p2"))
    found = seen(park)
    assert ([one.player for one in found.still_here], found.everybody_has_left) == (["p2"], False)


def test_hired_gear_is_out_until_it_is_given_back_and_first_is_that_of_whoever_has_gone_home(park):
    park.when(RecordLeft(player="p3"))
    park.when(ReturnGear(player="p1", marker="m1", mask="k1"))
    assert [(one.gear, one.player, one.gone_home) for one in seen(park).gear_out] == [
        ("marker:m3", "p3", True),
        ("mask:k3", "p3", True),
        ("marker:m2", "p2", False),
        ("mask:k2", "p2", False),
    ]
    everybody_goes(park)
    assert seen(park).gear_out == ()


def test_nobody_has_left_while_a_game_is_called_live_or_not_counted_or_its_count_disagrees(park):
    called(park, "g1", "p1", "p2")
    states = [seen(park).fields]
    park.at(11).when(AbandonGame(game="g1"))
    played(park, "g2", 12, "p1", "p2", "p3", minutes=10)
    assert [(one.state, one.game) for one in states[0]] == [("called", "g1")]
    assert seen(park).fields == ()
    called(park.at(30), "g3", "p1", "p2", "p3")
    park.when(StartGame(game="g3"))
    assert [one.state for one in seen(park).fields] == ["live"]
    park.at(40).when(EndGame(game="g3"))
    assert [one.state for one in seen(park).fields] == ["not_counted"]
    park.at(41).when(CountHeads(game="g3", counted=2))
    (field,) = seen(park).fields
    assert (field.state, field.missing) == ("missing", ("p1", "p2", "p3"))
    everybody_goes(park.at(50))
    assert not seen(park).everybody_has_left
    assert "the head-count does not agree (game g3)" in seen(park).sentence


def test_an_open_search_keeps_everybody_from_having_left_until_the_one_it_seeks_is_found(park):
    played(park, "g1", 12, "p1", "p2", minutes=10)
    park.at(23).when(CountHeads(game="g1", counted=0))
    park.at(25).when(SweepField(game="g1", search_open=True))
    park.at(26).when(FindPlayer(player="p1", game="g1", place="staging"))
    (field,) = seen(park).fields
    assert (field.state, field.missing) == ("searched_for", ("p2",))
    park.at(30).when(FindPlayer(player="p2", game="g1", place="car_park"))
    assert seen(park).fields == ()
    everybody_goes(park)
    assert seen(park).everybody_has_left


def test_a_search_for_nobody_by_name_stays_open_though_every_player_was_recorded_as_leaving(park):
    called(park.at(12), "g1", "p1", "p2")
    park.when(StartGame(game="g1"))
    park.at(22).when(EndGame(game="g1"))
    park.at(23).when(SweepField(game="g1", search_open=True))
    everybody_goes(park.at(40))
    found = seen(park)
    assert ([one.state for one in found.fields], found.everybody_has_left) == (["searched_for"], False)


def test_holds_incidents_and_closing_checks_that_are_open_are_listed_and_bar_nothing(park):
    everybody_goes(park)
    park.when(AskHold(hold="h1", field="birch", cause="equipment"))
    park.when(RecordIncident(incident="i1", kind="near_miss"))
    found = seen(park)
    assert [(one.field, one.hold, one.cause) for one in found.holds] == [("birch", "h1", "equipment")]
    assert found.incidents == ("i1",)
    assert ("field-empty", "fern") in [(one.check, one.field) for one in found.checks]
    assert found.everybody_has_left
    park.when(DoCheck(check="field-empty", when="closing", field="fern"), "referee")
    park.when(LiftHold(hold="h1", field="birch", swept=True))
    found = seen(park)
    assert ("field-empty", "fern") not in [(one.check, one.field) for one in found.checks]
    assert found.holds == ()


def test_the_day_is_closed_with_how_many_were_still_here_whatever_that_is():
    command = CloseDay(closed=NINE.date())
    assert list(close_day(command, (4, 1))) == [DayClosed(closed=NINE.date(), still_here=4, minors_here=1)]
    assert list(close_day(command, None)) == [DayClosed(closed=NINE.date(), still_here=None, minors_here=None)]


def test_yesterdays_people_are_not_todays(park):
    park.now = NINE + timedelta(days=1)
    assert seen(park).sentence == "Nobody was registered today. Look all the same."
