"""Who is let onto a field: all of a game list or nobody, one person at the gate, and never anybody who is not cleared."""

from datetime import timedelta

import msgspec
import pytest

from contracts.duty import DutyEnded
from contracts.envelope import Basis
from contracts.games import (
    AbandonGame,
    AdmissionRefused,
    AdmitPlayer,
    AskHold,
    CountHeads,
    EndGame,
    GameStarted,
    InspectField,
    PlayerAdmitted,
    RecordOut,
    StartGame,
    StartRefused,
)
from contracts.problems import NotInThatState, RuleForbids, UnknownSubject
from services.clearance import model as clearance
from services.core.fold import Given
from services.games import admission
from services.games.states import GAME
from tests.unit.field_day import Gate, call, entrants, field_day, on_duty, player, start, where
from tests.unit.scenario import NINE


@pytest.fixture(autouse=True)
def gate(monkeypatch):
    gate = Gate()
    monkeypatch.setattr(admission, "clearance", gate)
    return gate


@pytest.fixture
def day():
    return field_day(20).given(player("photo", "photographer"))


def codes(event):
    return [one.code for one in event.reasons]


def admit(day, name, game=None, **more):
    (event,) = day.when(AdmitPlayer(player=name, field="birch", game=game, **more))
    return event


def test_a_start_admits_everybody_on_the_list(day):
    call(day, "g1", "p1", "p2", rotation="r1")
    (started,) = day.at(5).when(StartGame(game="g1"))
    assert isinstance(started, GameStarted)
    assert (started.rotation, started.format, started.minutes) == ("r1", "elimination", 15)
    assert (started.entrants, started.left_out) == (entrants("p1", "p2"), ())
    assert started.basis == Basis(now=day.now, rules="default", position=len(day.events) - 1)
    assert [where(day, name) for name in ("p1", "p2", "p3")] == [("birch", "g1"), ("birch", "g1"), None]


def test_a_start_names_every_offender_at_once_and_admits_nobody(day, gate):
    gate.against = {"p1": "entry_unpaid", "p3": "too_fast"}
    call(day, "g1", "p1", "p2", "p3")
    (refused,) = day.when(StartGame(game="g1"))
    assert isinstance(refused, StartRefused)
    assert codes(refused) == []
    assert [(one.player, codes(one)) for one in refused.offenders] == [
        ("p1", ["entry_unpaid"]),
        ("p3", ["too_fast"]),
    ]
    assert [where(day, name) for name in ("p1", "p2", "p3")] == [None, None, None]
    assert day.state(GAME, "g1").state == "called"


def test_start_without_them_leaves_out_who_is_named_with_the_reasons(day, gate):
    gate.against = {"p1": "entry_unpaid"}
    call(day, "g1", "p1", "p2", "p3")
    (started,) = day.when(StartGame(game="g1", without=("p1", "p3", "p19")))
    assert started.entrants == entrants("p2")
    assert [(one.player, codes(one)) for one in started.left_out] == [("p1", ["entry_unpaid"]), ("p3", [])]
    assert where(day, "p1") is None


def test_an_offender_who_is_not_named_still_stops_the_start(day, gate):
    gate.against = {"p1": "entry_unpaid", "p2": "sitting_out"}
    call(day, "g1", "p1", "p2", "p3")
    (refused,) = day.when(StartGame(game="g1", without=("p1",)))
    assert [one.player for one in refused.offenders] == ["p2"]


def test_players_straight_from_the_car_park_hear_everything_they_lack_in_one_answer(day, monkeypatch):
    monkeypatch.setattr(admission, "clearance", clearance)
    call(day, "g1", "p1", "p2")
    (refused,) = day.when(StartGame(game="g1"))
    lacking = {"entry_unpaid", "waiver_missing", "briefing_missing", "mask_missing", "marker_missing"}
    assert {one.player: set(codes(one)) for one in refused.offenders} == {"p1": lacking, "p2": lacking}


def test_nobody_left_is_no_game(day):
    call(day, "g1", "p1")
    with pytest.raises(RuleForbids, match="Nobody is left on the list"):
        day.when(StartGame(game="g1", without=("p1",)))


def test_the_fields_own_reasons_stop_everybody_together(day, gate):
    gate.against = {"p1": "unfit"}
    call(day, "g1", "p1", "p2")
    day.when(AskHold(hold="h1", field="birch"))
    day.when(InspectField(field="birch", passed=False))
    (refused,) = day.when(StartGame(game="g1"))
    assert codes(refused) == ["field_failed_inspection", "field_on_hold"]
    assert [one.player for one in refused.offenders] == ["p1"]


def test_no_game_starts_without_its_referee_and_a_first_aider(day):
    day.given(DutyEnded(staff="s1", field="birch"), DutyEnded(staff="s2", field=None))
    call(day, "g1", "p1")
    (refused,) = day.when(StartGame(game="g1"))
    assert codes(refused) == ["too_few_referees", "no_first_aider"]
    day.at(5).given(on_duty("s1", "referee", "birch"), on_duty("s2", "first_aider", None))
    (started,) = day.when(StartGame(game="g1"))
    assert isinstance(started, GameStarted)


def test_a_game_starts_once(day):
    start(day, "g1", "p1")
    with pytest.raises(NotInThatState, match="Game g1 is live: it starts once"):
        day.when(StartGame(game="g1"))
    call(day, "g2", "p2")
    day.when(AbandonGame(game="g2"))
    with pytest.raises(NotInThatState, match="Game g2 is abandoned"):
        day.when(StartGame(game="g2"))


def test_nobody_starts_in_a_game_while_on_another_field(day):
    day.when(InspectField(field="fern", passed=True))
    day.given(on_duty("s3", "referee", "fern"))
    start(day, "g1", "p1", "p2")
    call(day, "g2", "p2", "p3", field="fern")
    (refused,) = day.when(StartGame(game="g2"))
    assert [(one.player, codes(one)) for one in refused.offenders] == [("p2", ["already_on_field"])]
    day.at(10).when(EndGame(game="g1"))
    (started,) = day.when(StartGame(game="g2"))
    assert isinstance(started, GameStarted)


@pytest.mark.parametrize("form", ["respawn", "scenario", "continuous"])
def test_players_come_and_go_through_the_gate_of_a_game_that_is_not_elimination(day, form):
    start(day, "g1", "p1", format=form)
    admitted = admit(day.at(3), "p2", "g1", colour="blue")
    assert isinstance(admitted, PlayerAdmitted)
    assert (admitted.part, admitted.field, admitted.game, admitted.colour) == ("player", "birch", "g1", "blue")
    day.at(4).when(RecordOut(player="p2", field="birch", cause="walked_off"))
    assert where(day, "p2") is None
    assert isinstance(admit(day.at(5), "p2", "g1"), PlayerAdmitted)
    (ended,) = day.at(20).when(EndGame(game="g1"))
    assert ended.players == ("p1", "p2")


def test_out_is_out_in_an_elimination_game_and_nobody_joins_it_late(day):
    start(day, "g1", "p1", "p2")
    day.at(3).when(RecordOut(player="p1", field="birch", cause="eliminated"))
    again, late = admit(day, "p1", "g1"), admit(day, "p3", "g1")
    assert isinstance(again, AdmissionRefused)
    assert codes(again) == ["out_for_good"]
    assert codes(late) == ["game_closed"]
    assert where(day, "p1") is None


def test_nobody_is_let_into_a_game_that_is_not_running(day):
    call(day, "g1", "p1", format="respawn")
    assert codes(admit(day, "p2", "g1")) == ["game_not_live"]
    day.when(StartGame(game="g1"))
    day.at(10).when(EndGame(game="g1"))
    assert codes(admit(day, "p2", "g1")) == ["game_not_live", "heads_missing"]


def test_a_player_who_is_not_cleared_or_on_the_field_already_is_refused_at_the_gate(day, gate):
    gate.against = {"p2": "test_voided"}
    start(day, "g1", "p1", format="respawn")
    assert codes(admit(day, "p2", "g1")) == ["test_voided"]
    assert codes(admit(day, "p1", "g1")) == ["already_on_field"]


def test_nobody_is_let_through_the_gate_of_a_field_on_hold(day):
    start(day, "g1", "p1", format="respawn")
    day.when(AskHold(hold="h1"))
    assert codes(admit(day, "p2", "g1")) == ["field_on_hold"]


def test_the_gate_closes_when_the_field_is_full_and_opens_when_one_comes_off(day):
    start(day, "g1", "p1", "p2", "p3", "p4", "p5", format="respawn")
    assert isinstance(admit(day, "p6", "g1"), PlayerAdmitted)
    assert codes(admit(day, "p7", "g1")) == ["over_capacity"]
    day.at(2).when(RecordOut(player="p1", field="birch", game="g1", cause="walked_off"))
    assert isinstance(admit(day, "p7", "g1"), PlayerAdmitted)


def test_who_does_not_play_enters_any_running_game_takes_no_players_room_and_is_in_its_story(day):
    start(day, "g1", "p1", "p2", "p3", "p4", "p5", "p6")
    admitted = admit(day.at(2), "photo")
    assert (admitted.part, admitted.game, admitted.colour) == ("photographer", "g1", None)
    assert where(day, "photo") == ("birch", "g1")
    (ended,) = day.at(10).when(EndGame(game="g1"))
    assert ended.players[-1] == "photo"
    assert where(day, "photo") is None


def test_who_does_not_play_leaves_the_last_place_to_a_player(day):
    start(day, "g1", "p1", "p2", "p3", "p4", "p5", format="respawn")
    admit(day.at(1), "photo")
    assert isinstance(admit(day.at(2), "p6", "g1"), PlayerAdmitted)
    assert codes(admit(day.at(3), "p7", "g1")) == ["over_capacity"]


def test_who_does_not_play_enters_a_field_without_a_game(day):
    admitted = admit(day, "photo")
    assert (admitted.game, where(day, "photo")) == (None, ("birch", None))
    assert codes(admit(day, "photo")) == ["already_on_field"]


def test_a_player_enters_for_a_game_that_is_on_that_field(day):
    start(day, "g1", "p1", format="respawn")
    with pytest.raises(RuleForbids, match="Name the game"):
        admit(day, "p2")
    with pytest.raises(RuleForbids, match="Game g1 is on field birch, not on fern"):
        day.when(AdmitPlayer(player="p2", field="fern", game="g1"))


@pytest.mark.parametrize(
    ("command", "named"),
    [
        (AdmitPlayer(player="p99", field="birch", game="g1"), "player p99"),
        (AdmitPlayer(player="p2", field="moor", game="g1"), "field moor"),
        (AdmitPlayer(player="p2", field="birch", game="g9"), "game g9"),
    ],
)
def test_what_the_record_does_not_know_is_named(day, command, named):
    start(day, "g1", "p1", format="respawn")
    with pytest.raises(UnknownSubject, match=named):
        day.when(command)


def test_a_start_rests_on_the_game_the_field_its_staff_and_every_player(day):
    call(day, "g1", "p1", "p2")
    read = day.load(lambda given: admission.start_subjects(StartGame(game="g1"), given))
    for subject in [
        *admission.play.subjects("birch", Given()),
        (GAME, "g1"),
        (admission.PRESENCE, "p1"),
        (admission.PRESENCE, "p2"),
    ]:
        assert subject in read


def test_nobody_is_let_in_for_a_time_before_he_came_off(day):
    """A gate whose clock is slow would put him on the field in a way that his coming off had undone already."""
    start(day, "g1", "p1", "p2", format="respawn")
    day.at(5).when(RecordOut(player="p1", field="birch", cause="walked_off"))
    day.at(6)
    with pytest.raises(NotInThatState, match=r"Player p1 entered or left .* after the time claimed here"):
        admit(day, "p1", "g1", occurred_at=NINE + timedelta(minutes=4))
    assert isinstance(admit(day, "p1", "g1"), PlayerAdmitted)
    assert where(day, "p1") == ("birch", "g1")


def test_no_game_starts_for_a_time_before_one_of_its_players_came_off_another(day):
    start(day, "g1", "p1")
    day.at(10).when(RecordOut(player="p1", field="birch", cause="walked_off"))
    day.when(EndGame(game="g1"))
    day.when(CountHeads(game="g1", counted=0))
    call(day.at(12), "g2", "p1", "p2")
    with pytest.raises(NotInThatState, match="Player p1 entered or left"):
        day.when(StartGame(game="g2", occurred_at=NINE + timedelta(minutes=9)))
    (started,) = day.when(StartGame(game="g2", occurred_at=NINE + timedelta(minutes=11)))
    assert isinstance(started, GameStarted)


def test_yesterdays_papers_and_inspection_let_nobody_in_today(day):
    call(day, "g1", "p1")
    day.at(20 * 60)
    for command in (AdmitPlayer(player="photo", field="birch"), StartGame(game="g1")):
        with pytest.raises(NotInThatState, match="for 2026-05-09, which is over"):
            day.when(msgspec.structs.replace(command, occurred_at=NINE + timedelta(minutes=1)))
    assert [where(day, name) for name in ("p1", "photo")] == [None, None]
