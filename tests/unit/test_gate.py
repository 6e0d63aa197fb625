"""What a gate keeps for when it has no network: everybody of today, by the same rules as the log's own answer."""

import asyncio
from datetime import timedelta
from hashlib import sha256

import msgspec
import pytest

from contracts.discipline import Caution, ConfirmEjection
from contracts.games import AskHold, InspectField, StartGame
from contracts.problems import UnknownSubject
from contracts.registration import ReissuePass
from services.board.gate import Gate
from services.clearance import model as clearance
from services.clearance import play
from tests.unit.board_view import at_hand, open_park
from tests.unit.field_day import call

NEWER = "pass-new"


@pytest.fixture
def park():
    return open_park()


def listed(park, field="birch", gate=None):
    return asyncio.run((gate or Gate("larchmoor", field)).list(at_hand(park), 1))


def one(made, player):
    return next(one for one in made.players if one.player == player)


def codes(reasons):
    return [reason.code for reason in reasons]


def test_everybody_of_today_is_on_it_by_armband_and_the_fingerprint_of_his_pass(park):
    made = listed(park)
    assert [who.player for who in made.players] == ["p1", "p2", "p3"]
    assert [who.cleared for who in made.players] == [True, True, True]
    known = one(made, "p1")
    assert known.armband == 1
    (day_pass,) = {
        event.data.day_pass
        for event in park.events
        if event.type == "registration.player_registered" and event.data.player == "p1"
    }
    assert known.pass_sha256 == sha256(day_pass.encode()).hexdigest()
    assert (made.position, made.as_of, made.offline_minutes) == (len(park.events), park.now, 15.0)


def test_the_list_holds_no_pass(park):
    assert b"pass-" not in msgspec.json.encode(listed(park))


@pytest.mark.parametrize("field", ["birch", "fern"])
def test_it_says_of_each_what_the_log_itself_says(park, field):
    park.when(Caution(caution="c1", player="p2", violation="physical-contact"), "head_referee")
    made = listed(park, field)
    for who in made.players:
        given = park.load(clearance.subjects(who.player, field))
        given_field = park.load(lambda given: play.subjects(field, given))
        own = clearance.reasons(given, who.player, field, park.moment())
        shut = play.at_the_gate(given_field, field, park.moment())
        assert codes(who.reasons) == codes(own)
        assert codes(made.reasons) == codes(shut)
        assert who.cleared is not bool(own or shut)
    assert one(made, "p2").reasons


def test_on_a_field_that_is_stopped_nobody_is_cleared(park):
    park.when(AskHold(hold="h1", field="birch"))
    made = listed(park)
    assert codes(made.reasons) == ["field_on_hold"]
    assert not any(who.cleared for who in made.players)
    assert one(made, "p1").reasons == ()


def test_a_pass_that_was_replaced_is_known_as_such(park):
    before = one(listed(park), "p1").pass_sha256
    park.when(ReissuePass(player="p1", day_pass=NEWER, fault="lost"))
    now = one(listed(park), "p1")
    assert now.pass_sha256 == sha256(NEWER.encode()).hexdigest()
    assert now.replaced_sha256 == (before,)


def test_the_game_that_is_played_is_named_with_its_format(park):
    assert listed(park).game is None
    call(park, "g1", "p1", "p2", format="respawn")
    park.when(StartGame(game="g1"))
    made = listed(park)
    assert (made.game.game, made.game.format) == ("g1", "respawn")
    assert codes(one(made, "p1").reasons) == ["already_on_field"]


def test_whoever_is_judged_anew_is_told_anew_by_the_same_gate(park):
    gate = Gate("larchmoor", "birch")
    assert one(listed(park, gate=gate), "p1").cleared
    park.when(Caution(caution="c1", player="p1", violation="physical-contact"), "head_referee")
    park.when(ConfirmEjection(caution="c1", player="p1"), "head_referee")
    assert "ejected" in codes(one(listed(park, gate=gate), "p1").reasons)


def test_a_field_that_nobody_configured_has_no_gate(park):
    with pytest.raises(UnknownSubject):
        listed(park, "moor")


def test_a_test_that_runs_out_meanwhile_is_told_once_the_board_has_looked_again(park):
    park.when(InspectField(field="birch", passed=True))
    gate = Gate("larchmoor", "birch")
    assert one(listed(park, gate=gate), "p1").cleared
    park.now += timedelta(days=1)
    assert listed(park, gate=gate).players == ()
