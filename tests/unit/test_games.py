"""Fields, game lists and how games end. Figures are common practice, no source."""

from datetime import timedelta

import pytest
from msgspec.structs import replace

from contracts.catalogue import COMMANDS
from contracts.envelope import Unknown
from contracts.games import (
    AbandonGame,
    AskHold,
    BriefGame,
    CallGame,
    ConfigureField,
    CountHeads,
    EndGame,
    GameAbandoned,
    GameBriefed,
    GameEnded,
    InspectField,
    LiftHold,
    RecordOut,
    StartGame,
)
from contracts.park import OpenDay, RecordFlash, RecordThunder, RecordWeather, RulesAdopted
from contracts.problems import NotInThatState, RuleForbids, UnknownSubject
from contracts.rules import GameRules, Rules
from services.clearance.field import FIELD, reasons
from services.games import admission
from services.games.states import GAME
from tests.unit.field_day import Gate, call, entrants, field_day, player, shut, start, where
from tests.unit.scenario import NINE


@pytest.fixture
def day(monkeypatch):
    monkeypatch.setattr(admission, "clearance", Gate())
    return field_day()


def minutes(number: float):
    return NINE + timedelta(minutes=number)


def test_a_stop_limit_may_equal_the_bench_limit_and_not_lie_under_it(day):
    (equal,) = day.when(ConfigureField(field="oak", title="Oak", limit_fps=285, stop_limit_fps=285))
    assert equal.stop_limit_fps == 285
    with pytest.raises(RuleForbids, match=r"284\.9 ft/s is under the bench limit of 285 ft/s"):
        day.when(ConfigureField(field="oak", title="Oak", limit_fps=285, stop_limit_fps=284.9))


def test_a_field_is_shut_until_it_is_inspected_on_that_day(day):
    assert shut(day, "fern") == ["field_not_inspected"]
    day.when(InspectField(field="fern", passed=False))
    assert shut(day, "fern") == ["field_failed_inspection"]
    day.at(30).when(InspectField(field="fern", passed=True))
    assert shut(day, "fern") == []
    day.at(24 * 60)
    assert shut(day, "fern") == ["field_not_inspected"]


def test_an_inspection_told_late_does_not_undo_a_newer_one(day):
    day.at(30).when(InspectField(field="birch", passed=False))
    day.at(31).when(InspectField(field="birch", passed=True, occurred_at=minutes(10)))
    assert shut(day) == ["field_failed_inspection"]


def test_an_unknown_field_is_named(day):
    assert shut(day, "moor") == ["unknown_field"]
    with pytest.raises(UnknownSubject, match="field moor"):
        day.when(InspectField(field="moor", passed=True))
    with pytest.raises(UnknownSubject, match="field moor"):
        call(day, "g1", "p1", field="moor")


def test_what_the_software_cannot_read_shuts_the_field(day):
    strange = replace(day.events[0], data=Unknown(type="games.field_moved", version=1, why="unknown type"))
    state = FIELD.step("birch", day.state(FIELD, "birch"), strange)
    assert [one.code for one in reasons(state, day.moment())] == ["record_not_understood"]


def test_as_many_players_as_the_field_takes_fit_and_one_more_does_not(day):
    names = [f"p{number}" for number in range(1, 8)]
    call(day, "g1", *names[:6])
    assert shut(day, game="g1", players=6) == []
    assert shut(day, game="g1", players=7) == ["over_capacity"]
    with pytest.raises(RuleForbids, match="Field birch takes 6 players; the list has 7"):
        call(day, "g1", *names)


def test_nobody_is_on_a_list_twice(day):
    with pytest.raises(RuleForbids, match="more than once: p1"):
        call(day, "g1", "p1", "p2", "p1")


def test_calling_again_before_the_start_replaces_the_list(day):
    call(day, "g1", "p1", "p2")
    call(day, "g1", "p2", "p3", rotation="r1")
    assert day.state(GAME, "g1").called.entrants == entrants("p2", "p3")
    day.when(StartGame(game="g1"))
    with pytest.raises(NotInThatState, match="Game g1 is live: its list is closed"):
        call(day, "g1", "p4")


def test_a_call_that_comes_after_the_start_changes_neither_the_list_nor_the_field(day):
    (called,) = call(day, "g1", "p1")
    day.when(StartGame(game="g1"))
    day.given(replace(called, entrants=entrants("p4")))
    assert day.state(GAME, "g1").called.entrants == entrants("p1")
    assert shut(day, game="g2") == ["field_occupied"]


def test_a_game_does_not_move_to_another_field(day):
    call(day, "g1", "p1")
    with pytest.raises(NotInThatState, match="called for field birch"):
        call(day, "g1", "p1", field="fern")


def test_the_next_game_is_called_while_one_is_played_and_only_one_waits(day):
    start(day, "g1", "p1", "p2")
    call(day, "g2", "p3")
    with pytest.raises(NotInThatState, match="Game g2 is already called for field birch"):
        call(day, "g3", "p4")
    day.when(AbandonGame(game="g2"))
    (called,) = call(day, "g3", "p4")
    assert called.game == "g3"


def test_a_game_is_briefed_at_the_gate(day):
    call(day, "g1", "p1")
    assert day.when(BriefGame(game="g1")) == (GameBriefed(game="g1", field="birch"),)


def test_the_second_game_waits_for_the_first_and_for_its_heads(day):
    start(day, "g1", "p1", "p2")
    call(day, "g2", "p3")
    assert shut(day, game="g2") == ["field_occupied"]
    day.at(12).when(EndGame(game="g1"))
    assert shut(day, game="g2") == ["heads_missing"]
    day.when(CountHeads(game="g1", counted=2))
    assert shut(day, game="g2") == []


def test_a_game_that_ends_says_who_played_and_for_how_long(day):
    start(day, "g1", "p1", "p2", rotation="r1")
    day.at(5).when(RecordOut(player="p1", field="birch", cause="eliminated"))
    (ended,) = day.at(12.5).when(EndGame(game="g1", winner="red"))
    assert ended == GameEnded(
        game="g1",
        field="birch",
        rotation="r1",
        format="elimination",
        started_at=NINE,
        played_minutes=12.5,
        full=True,
        players=("p1", "p2"),
        winner="red",
    )


def test_a_game_is_full_at_exactly_the_minutes_of_the_rule(day):
    start(day, "g1", "p1")
    (short,) = day.at(7.99).when(EndGame(game="g1"))
    assert short.full is False
    day.when(CountHeads(game="g1", counted=1))
    day.at(20)
    start(day, "g2", "p1")
    (full,) = day.at(28).when(EndGame(game="g2"))
    assert (full.full, full.played_minutes) == (True, 8)


def test_the_minutes_that_make_a_game_full_are_a_rule_of_the_park(day):
    day.given(RulesAdopted(rules=Rules(version="v2", games=GameRules(full_minutes=12))))
    start(day, "g1", "p1")
    (ended,) = day.at(11.9).when(EndGame(game="g1"))
    assert ended.full is False


def test_time_on_hold_is_not_played_and_two_holds_at_once_count_once(day):
    start(day, "g1", "p1")
    day.at(3).when(AskHold(hold="h1", field="birch"))
    day.at(4).when(AskHold(hold="h2"))
    day.at(6).when(LiftHold(hold="h1", field="birch", swept=True))
    day.at(7).when(LiftHold(hold="h2", field="birch", swept=True))
    (ended,) = day.at(11).when(EndGame(game="g1"))
    assert (ended.played_minutes, ended.full) == (7, False)


def test_a_game_that_ends_on_hold_was_played_until_the_hold(day):
    day.at(-10).when(AskHold(hold="h0", field="birch"))
    day.at(-5).when(LiftHold(hold="h0", field="birch", swept=True))
    start(day.at(0), "g1", "p1")
    day.at(9).when(AskHold(hold="h1", cause="weather"))
    (ended,) = day.at(40).when(EndGame(game="g1"))
    assert (ended.played_minutes, ended.full) == (9, True)


def test_a_hold_of_another_field_does_not_stop_this_clock(day):
    start(day, "g1", "p1")
    day.at(3).when(AskHold(hold="h1", field="fern"))
    (ended,) = day.at(10).when(EndGame(game="g1"))
    assert ended.played_minutes == 10


def test_an_end_told_twice_counts_from_the_first(day):
    start(day, "g1", "p1")
    day.at(7).when(EndGame(game="g1"))
    (again,) = day.at(15).when(EndGame(game="g1"))
    assert (again.played_minutes, again.full) == (7, False)
    (late,) = day.at(30).when(EndGame(game="g1", occurred_at=minutes(6)))
    assert late.played_minutes == 6
    assert day.state(GAME, "g1").over.place[0] == minutes(6)


def test_an_end_told_again_does_not_open_the_count_again(day):
    start(day, "g1", "p1")
    day.at(10).when(EndGame(game="g1"))
    day.at(11).when(CountHeads(game="g1", counted=1))
    day.at(12).when(EndGame(game="g1"))
    assert shut(day) == []


def test_the_end_of_a_game_that_never_started_is_recorded_as_no_play(day):
    call(day, "g1", "p1")
    (ended,) = day.at(20).when(EndGame(game="g1"))
    assert (ended.played_minutes, ended.full, ended.players) == (0, False, ())
    assert shut(day) == []
    with pytest.raises(NotInThatState, match="Game g1 is ended"):
        day.when(StartGame(game="g1"))


def test_an_abandoned_game_lets_everybody_off_and_has_its_heads_counted(day):
    start(day, "g1", "p1", "p2", rotation="r1")
    (abandoned,) = day.at(20).when(AbandonGame(game="g1", cause="weather"))
    assert abandoned == GameAbandoned(game="g1", field="birch", rotation="r1", players=("p1", "p2"), cause="weather")
    assert where(day, "p1") is None
    assert shut(day) == ["heads_missing"]
    (ended,) = day.at(25).when(EndGame(game="g1"))
    assert (ended.played_minutes, ended.full) == (0, False)
    assert day.state(GAME, "g1").state == "abandoned"


def test_a_game_given_up_before_it_started_needs_no_count(day):
    call(day, "g1", "p1")
    day.when(AbandonGame(game="g1"))
    assert shut(day) == []


def test_a_game_that_ran_over_night_still_occupies_its_field(day):
    start(day, "g1", "p1")
    day.at(24 * 60).when(InspectField(field="birch", passed=True))
    call(day, "g2", "p2")
    assert shut(day, game="g2") == ["field_occupied"]


def test_settled_games_of_earlier_days_are_forgotten_and_their_late_ends_change_nothing(day):
    start(day, "g1", "p1")
    day.at(10).when(EndGame(game="g1"))
    day.when(CountHeads(game="g1", counted=1))
    day.at(24 * 60).when(InspectField(field="birch", passed=True))
    call(day, "g2", "p1")
    day.when(EndGame(game="g1"))
    assert shut(day, game="g2") == []


@pytest.mark.parametrize(
    "command", [BriefGame, StartGame, EndGame, AbandonGame, lambda game: CountHeads(game=game, counted=0)]
)
def test_a_game_that_was_never_called_is_named(day, command):
    with pytest.raises(UnknownSubject, match="game g9"):
        day.when(command(game="g9"))


def test_an_out_belongs_to_the_game_that_the_player_is_in(day):
    start(day, "g1", "p1", "p2")
    (out,) = day.at(5).when(RecordOut(player="p1", field="birch", cause="eliminated"))
    assert out.game == "g1"
    (before,) = day.at(6).when(
        RecordOut(player="p2", field="birch", cause="walked_off", occurred_at=NINE - timedelta(minutes=20))
    )
    assert before.game is None
    assert where(day, "p2") == ("birch", "g1")


def test_an_out_names_a_known_player_field_and_game_that_fit(day):
    start(day, "g1", "p1")
    with pytest.raises(UnknownSubject, match="player p9"):
        day.when(RecordOut(player="p9", field="birch", cause="eliminated"))
    with pytest.raises(UnknownSubject, match="game g9"):
        day.when(RecordOut(player="p1", field="birch", game="g9", cause="eliminated"))
    with pytest.raises(RuleForbids, match="Game g1 is on field birch, not on fern"):
        day.when(RecordOut(player="p1", field="fern", game="g1", cause="eliminated"))


def test_an_out_is_recorded_whatever_the_state(day):
    day.given(player("p7"))
    (out,) = day.when(RecordOut(player="p7", field="fern", cause="injured"))
    assert (out.player, out.game) == ("p7", None)


def test_every_command_of_the_contracts_has_its_handler(day):
    games = {command for name, command in COMMANDS.items() if name.startswith("games/")}
    of_the_park = {OpenDay, RecordWeather, RecordThunder, RecordFlash}  # a day opens its fields, the weather holds them
    assert set(day.handlers) == games | of_the_park
    assert CallGame in games
