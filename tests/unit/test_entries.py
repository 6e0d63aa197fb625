"""Whom a gate let in while it had no network: on the record whatever it was, counted, and marked where the record says no."""

from datetime import timedelta

import pytest

from contracts.discipline import Caution, ConfirmEjection
from contracts.games import (
    AskHold,
    CountHeads,
    EndGame,
    EntryRecorded,
    GameStarted,
    InspectField,
    Knowledge,
    RecordEntry,
    RecordOut,
    StartGame,
    SweepField,
)
from contracts.park import RulesAdopted
from contracts.problems import RuleForbids, UnknownSubject
from contracts.rules import OfflineRules, Rules
from services.audit.replays import decisions
from services.audit.stories.outcome import decided
from services.audit.words import games as words
from services.audit.words.scene import Scene
from services.clearance import model as clearance
from services.clearance.field import FIELD
from services.discipline.states import RECORD
from services.games import admission
from services.games.line_up import LINE_UP
from services.games.states import BESIDE, GAME
from services.games.teams.results import RESULTS
from services.registration.money import PURSE
from tests.unit.board_view import open_park, shown
from tests.unit.field_day import Gate, call, field_day, player, start, where
from tests.unit.scenario import NINE


@pytest.fixture(autouse=True)
def gate(monkeypatch):
    gate = Gate()
    monkeypatch.setattr(admission, "clearance", gate)
    return gate


@pytest.fixture
def day():
    return field_day(6).given(player("photo", "photographer"))


def enters(day, name="p1", game=None, *, knew_at=0.0, told_after=1.0, position=1, field="birch"):
    """He went in now, as the gate knew the record some minutes past nine; it is told later."""
    happened = day.now
    day.now += timedelta(minutes=told_after)
    knew = Knowledge(epoch=1, position=position, as_of=NINE + timedelta(minutes=knew_at))
    command = RecordEntry(
        player=name, field=field, game=game, knew=knew, colour="blue", answer="cleared", occurred_at=happened
    )
    (entered,) = day.when(command)
    return entered


def codes(entered):
    return [one.code for one in entered.reasons]


def live(day, *names):
    start(day, "g1", *names, format="respawn")
    return day


def test_whoever_was_let_in_is_on_the_field_and_nothing_stands_against_it(day):
    live(day, "p1", "p2")
    entered = enters(day.at(5), "p3", "g1", knew_at=2, told_after=4)
    assert isinstance(entered, EntryRecorded)
    assert (entered.age_minutes, entered.stale, entered.reasons, entered.part) == (3, False, (), "player")
    assert where(day, "p3") == ("birch", "g1")
    assert day.state(GAME, "g1").entered["p3"][0] == NINE + timedelta(minutes=5)
    assert "g1" in day.state(RECORD, "p3").lists, "the game serves his sit-out"
    assert day.state(PURSE, "p3").played
    assert day.state(RESULTS, "p3").colours == {"g1": "blue"}
    assert day.state(LINE_UP, "g1").colours["p3"] == "blue"


@pytest.mark.parametrize(("age", "stale"), [(0, False), (15, False), (15.01, True), (600, True)])
def test_knowledge_exactly_as_old_as_the_rules_allow_is_not_stale(day, age, stale):
    live(day, "p1", "p2")
    assert enters(day.at(20), "p3", "g1", knew_at=20 - age).stale is stale


def test_a_park_may_allow_its_gates_nothing(day):
    day.given(RulesAdopted(rules=Rules(version="strict", offline=OfflineRules(minutes=0))))
    live(day, "p1", "p2")
    assert enters(day.at(5), "p3", "g1", knew_at=4.9).stale


@pytest.mark.parametrize(("knew_at", "position"), [(16, 1), (10, 10**6)])
def test_knowledge_of_the_future_or_of_no_position_of_this_log_is_stale(day, knew_at, position):
    live(day, "p1", "p2")
    assert enters(day.at(10), "p3", "g1", knew_at=knew_at, position=position).stale


def test_a_clock_that_is_a_little_ahead_makes_nobody_stale(day):
    live(day, "p1", "p2")
    assert not enters(day.at(10), "p3", "g1", knew_at=14.9).stale


def test_who_was_ejected_while_the_gate_was_cut_off_is_on_the_field_with_the_reason(day, gate):
    live(day, "p1", "p2")
    gate.against = {"p3": "ejected"}
    entered = enters(day.at(5), "p3", "g1")
    assert (codes(entered), entered.answer) == (["ejected"], "cleared")
    assert where(day, "p3") == ("birch", "g1")


def test_a_hold_of_meanwhile_is_a_reason_and_refuses_nothing(day):
    live(day, "p1", "p2").at(4).when(AskHold(hold="h1", field="birch"))
    assert codes(enters(day.at(5), "p3", "g1")) == ["field_on_hold"]
    assert where(day, "p3") == ("birch", "g1")


def test_nobody_joins_an_elimination_game_offline_without_its_being_told(day):
    start(day, "g1", "p1", "p2")
    assert codes(enters(day.at(5), "p3", "g1")) == ["game_closed"]


def test_where_no_game_is_named_it_is_the_one_that_ran(day):
    live(day.at(5), "p1", "p2")
    assert enters(day.at(6), "p3").game == "g1"


def test_whoever_went_in_before_the_game_began_is_beside_it(day):
    day.at(5)
    call(day, "g1", "p1", "p2")
    entered = enters(day, "photo", told_after=0)
    assert (entered.game, where(day, "photo"), entered.part) == (None, ("birch", None), "photographer")
    assert "photo" in day.state(BESIDE, "birch").entered


def test_he_is_expected_by_the_count_of_heads(day):
    live(day, "p1", "p2")
    enters(day.at(5), "p3", "g1")
    day.at(20).when(EndGame(game="g1"))
    (counted,) = day.at(21).when(CountHeads(game="g1", counted=2))
    assert (counted.expected, set(counted.missing)) == (3, {"p1", "p2", "p3"})


def test_told_after_the_heads_were_counted_the_field_is_shut_again_until_it_is_counted_anew(day):
    live(day, "p1", "p2")
    day.at(5)
    happened = RecordEntry(
        player="p3",
        field="birch",
        game="g1",
        answer="cleared",
        knew=Knowledge(epoch=1, position=1, as_of=NINE),
        occurred_at=day.now,
    )
    day.at(20).when(EndGame(game="g1"))
    day.at(21).when(CountHeads(game="g1", counted=2))
    assert not day.state(FIELD, "birch").runs["g1"].uncounted
    (entered,) = day.at(25).when(happened)
    assert codes(entered) == ["game_not_live"]
    assert day.state(FIELD, "birch").runs["g1"].uncounted
    day.at(26).when(CountHeads(game="g1", counted=3))
    day.when(SweepField(game="g1", search_open=False))
    assert not day.state(FIELD, "birch").runs["g1"].uncounted


def test_whoever_has_come_off_since_is_off(day):
    live(day, "p1", "p2")
    happened = day.at(5).now
    day.at(10).when(RecordOut(player="p3", field="birch", game="g1", cause="walked_off"))
    day.now = happened
    enters(day, "p3", "g1", told_after=10)
    assert where(day, "p3") is None


@pytest.mark.parametrize(
    ("name", "field", "game"), [("nobody", "birch", None), ("p1", "moor", None), ("p1", "birch", "g9")]
)
def test_a_name_that_the_record_does_not_know_is_said_so(day, name, field, game):
    with pytest.raises(UnknownSubject):
        enters(day, name, game, field=field)


def test_a_game_of_another_field_is_said_so(day):
    live(day, "p1", "p2")
    with pytest.raises(RuleForbids):
        enters(day, "p3", "g1", field="fern")


def test_the_story_says_what_the_gate_knew_and_what_the_record_says(day, gate):
    live(day, "p1", "p2")
    gate.against = {"p3": "ejected"}
    entered = enters(day.at(40), "p3", "g1", knew_at=10, position=4)
    told = words.WORDS[EntryRecorded](entered, Scene(about="player:p3"))
    assert "while the gate had no network" in told
    assert "up to position 4, 30 minutes old, too old by the rules" in told
    assert "You have been ejected for today." in told
    outcome = decided(entered, Scene(about="player:p3"))
    assert (outcome.granted, [one.code for one in outcome.reasons]) == (False, ["ejected"])


def test_a_what_if_asks_the_entry_anew_under_other_rules(day):
    live(day, "p1", "p2")
    entered = enters(day.at(20), "p3", "g1", knew_at=2)
    event = day.events[-1]
    assert not decisions.recorded(entered).granted
    command = decisions.asked(event, day.load(lambda given: decisions.subjects(entered, given)))
    given = day.load(lambda given: set(decisions.subjects(entered, given)))
    wider = decisions.outcome(event, command, given, Rules(version="wider", offline=OfflineRules(minutes=30)))
    assert "knowledge_too_old" not in {one.code for one in wider.reasons}
    same = decisions.outcome(event, command, given, Rules(version="same"))
    assert "knowledge_too_old" in {one.code for one in same.reasons}


@pytest.fixture
def park(monkeypatch):
    monkeypatch.undo()
    return open_park()


def told_to(park, name="p1", *, age=1.0):
    knew = Knowledge(epoch=1, position=1, as_of=park.now - timedelta(minutes=age))
    park.when(RecordEntry(player=name, field="birch", knew=knew, answer="cleared"))
    return [alert for alert in shown(park).alerts if alert.field == "birch"]


def test_a_clean_entry_alarms_nobody(park):
    assert told_to(park) == []
    assert shown(park).players.on_field == 1


def test_whoever_was_ejected_meanwhile_is_named_on_the_board_until_he_is_off(park):
    park.when(Caution(caution="c1", player="p1", violation="physical-contact"), "head_referee")
    park.when(ConfirmEjection(caution="c1", player="p1"), "head_referee")
    (alert,) = told_to(park.at(12))
    assert alert.kind == "let_in_offline"
    assert "went onto Birch while the gate had no network: not cleared by the record" in alert.sentence
    assert alert.sentence.endswith("to head referee.")
    assert alert.since == park.now
    park.at(13).when(RecordOut(player="p1", field="birch", cause="sent_off"))
    assert [one.kind for one in shown(park).alerts] == []


def test_whoever_went_in_on_knowledge_too_old_is_named_on_the_board(park):
    (alert,) = told_to(park, age=16)
    assert alert.kind == "let_in_offline"
    assert "too old" in alert.sentence


def test_a_game_starts_with_whoever_went_in_for_it_before_the_network_was_back(park):
    told_to(park)
    assert [
        one.code
        for one in clearance.reasons(park.load(clearance.subjects("p1", "birch")), "p1", "birch", park.moment())
    ] == ["already_on_field"]
    call(park, "g1", "p1", "p2")
    (started,) = park.when(StartGame(game="g1"))
    assert isinstance(started, GameStarted)
    assert (where(park, "p1"), where(park, "p2")) == (("birch", "g1"), ("birch", "g1"))


def test_whoever_went_onto_another_field_starts_nowhere_else(park):
    park.when(InspectField(field="fern", passed=True))
    told_to(park)
    call(park, "g1", "p1", "p2", field="fern")
    (refused,) = park.when(StartGame(game="g1"))
    assert "already_on_field" in [one.code for one in refused.offenders[0].reasons]
