"""What a referee's handheld shows of one field: the game, its clock, whom a touch can name, holds, heads, calls for first aid."""

from datetime import timedelta

import pytest

from contracts.games import (
    AdmitPlayer,
    AskHold,
    BriefGame,
    CallFirstAid,
    CallGame,
    ConfirmHold,
    CountHeads,
    EndGame,
    Entrant,
    FindPlayer,
    LiftHold,
    RecordOut,
    StartGame,
    SweepField,
)
from contracts.park import AdoptRules
from contracts.problems import UnknownSubject
from contracts.rules import DisciplineRules, Rules, VelocityRules, Violation
from services.games import handheld
from tests.unit.board_view import shown as wall
from tests.unit.scenario import NINE, Scenario
from tests.unit.small_park import HANDLERS, opening


@pytest.fixture
def day():
    day = Scenario(HANDLERS.values())
    for command in opening():
        day.when(command)
    return day.at(10)


def shown(day, field="birch", *roles):
    given = day.load(lambda given: handheld.subjects(field, given))
    return handheld.view("small", 1, field, given, day.moment(roles or ("referee",)))


def called(day, kind="elimination"):
    entrants = (Entrant(player="p2", colour="red"), Entrant(player="p1", colour="blue"))
    day.when(CallGame(game="g1", field="birch", format=kind, minutes=15, entrants=entrants))
    return day


def live(day, kind="elimination"):
    called(day, kind).when(StartGame(game="g1"))
    return day


def ended(day):
    live(day).at(25).when(EndGame(game="g1"))
    return day


def test_an_unknown_field_is_told_as_one(day):
    with pytest.raises(UnknownSubject, match="no field oak"):
        shown(day, "oak")


def test_a_called_game_names_its_people_by_colour_and_number_and_says_whether_they_were_briefed(day):
    gathered = shown(called(day)).gathered
    assert [(one.colour, one.armband, one.player) for one in gathered.people] == [("blue", 1, "p1"), ("red", 2, "p2")]
    assert not gathered.briefed
    assert shown(day).state == "called"
    day.at(11).when(BriefGame(game="g1"))
    assert (shown(day).state, shown(day).gathered.briefed) == ("briefed", True)


def test_the_clock_is_the_start_and_the_stops_as_they_were_recorded_and_the_walls_is_the_same(day):
    live(day).at(14).when(AskHold(hold="h1", field="birch"))
    clock = shown(day.at(15)).playing.clock
    assert (clock.started_at, clock.stopped_at, clock.held_seconds, clock.deadline) == (
        NINE + timedelta(minutes=10),
        NINE + timedelta(minutes=14),
        0,
        None,
    )
    day.at(16).when(ConfirmHold(hold="h1", field="birch"))
    assert shown(day).state == "held"
    day.at(17).when(LiftHold(hold="h1", field="birch", swept=True))
    clock = shown(day.at(20)).playing.clock
    assert (clock.stopped_at, clock.held_seconds, clock.deadline) == (None, 180, NINE + timedelta(minutes=28))
    assert wall(day).fields["birch"].clock == clock


def test_each_is_named_with_the_single_marker_that_he_carries(day):
    people = shown(live(day)).playing.people
    assert [one.marker for one in people] == ["own1", "h1"]
    assert shown(day, "fern").playing is None


def test_whoever_is_off_is_marked_and_counted_for_nobody(day):
    live(day, "respawn").at(12).when(RecordOut(player="p1", field="birch", game="g1", cause="eliminated"))
    assert [one.off for one in shown(day).playing.people] == [True, False]
    day.at(13).when(AdmitPlayer(player="p1", field="birch", game="g1", colour="blue"))
    assert [one.off for one in shown(day).playing.people] == [False, False]


def test_before_anybody_has_counted_nothing_is_told_that_could_be_typed_in_its_stead(day):
    (counting,) = shown(ended(day)).counting
    assert (counting.counted, counting.expected, counting.missing) == (None, None, ())
    assert shown(day).state == "counting"


def test_a_count_of_before_the_end_says_nothing(day):
    live(day).at(20).when(CountHeads(game="g1", counted=0))
    day.at(25).when(EndGame(game="g1"))
    assert (shown(day).counting[0].counted, shown(day).counting[0].missing) == (None, ())


def test_after_a_short_count_everybody_who_may_be_missing_is_named_until_found(day):
    ended(day).at(26).when(CountHeads(game="g1", counted=1))
    (counting,) = shown(day).counting
    assert (counting.counted, counting.expected) == (1, 2)
    assert [one.player for one in counting.missing] == ["p1", "p2"]
    day.at(27).when(FindPlayer(player="p1", game="g1", place="desk"))
    assert [one.player for one in shown(day).counting[0].missing] == ["p2"]
    day.at(28).when(SweepField(game="g1", search_open=True))
    assert (shown(day).state, shown(day).counting[0].search_open) == ("open", True)
    day.at(29).when(FindPlayer(player="p2", game="g1", place="gear"))
    assert shown(day).counting == ()


def test_a_count_that_is_right_leaves_nothing_to_count(day):
    ended(day).at(26).when(CountHeads(game="g1", counted=2))
    assert (shown(day).state, shown(day).counting) == ("open", ())


def test_a_call_for_first_aid_is_shown_on_its_own_field(day):
    day.when(CallFirstAid(call="a1", field="birch", place="gate"))
    assert [(one.call, one.place) for one in shown(day).aid] == [("a1", "gate")]
    assert shown(day, "fern").aid == ()


def test_a_referee_is_offered_the_violations_that_are_his_to_record_and_the_head_referee_all(day):
    catalogue = (
        Violation(code="wiping", weight=1, title="Wiped off a hit"),
        Violation(code="fired-off-field", weight=2, title="Fired outside a field", by=("staging", "gear")),
    )
    day.when(AdoptRules(rules=Rules(version="two", discipline=DisciplineRules(catalogue=catalogue))))
    assert [one.code for one in shown(day).violations] == ["wiping"]
    assert [one.code for one in shown(day, "birch", "head_referee").violations] == ["wiping", "fired-off-field"]


def test_the_limit_is_told_in_the_parks_unit(day):
    """285 ft/s are 86.868 m/s by the exact foot of 0.3048 m."""
    assert shown(day).limit == "285 ft/s"
    day.when(AdoptRules(rules=Rules(version="metric", velocity=VelocityRules(unit="mps"))))
    assert (shown(day).limit, shown(day).unit) == ("86.9 m/s", "mps")
