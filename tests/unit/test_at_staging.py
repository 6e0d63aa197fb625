"""Who could play next, as the person at staging sees it."""

import pytest

from contracts.games import AskHold, CallGame, Entrant, StartGame
from contracts.incidents import RecordUnfit
from contracts.registration import AssignRotation, RecordLeft, RegisterGroup, RegisterPerson, RegisterPlayer
from contracts.staging import STAGING_READS
from services.board.staging import at_staging
from tests.unit.board_view import at_hand, open_park
from tests.unit.test_clearance import ready_player

PASS = {"day_pass": "pass9"}


@pytest.fixture
def park():
    """Ten past nine: p1 to p4 are ready; birch is open."""
    park = open_park()
    ready_player(park, 4)
    return park


def shown(park):
    return {one.player: one for one in at_staging(at_hand(park), "larchmoor", 1).players}


def call(park, *players, game="g1"):
    park.when(CallGame(game=game, field="birch", entrants=tuple(Entrant(player=one, colour="red") for one in players)))


def test_everybody_who_is_ready_is_shown_as_ready_in_order_of_armband(park):
    found = at_staging(at_hand(park), "larchmoor", 1).players
    assert [(one.player, one.armband, one.cleared, one.reasons) for one in found] == [
        (f"p{number}", number, True, ()) for number in (1, 2, 3, 4)
    ]


def test_whoever_is_not_ready_is_shown_with_every_reason_and_where_it_is_cleared(park):
    park.when(RegisterGroup(group="kestrel", size=2))
    park.when(RegisterPerson(person="h9", age_band=14))
    park.when(RegisterPlayer(player="p9", person="h9", armband=9, group="kestrel", **PASS))
    found = shown(park)["p9"]
    assert (found.cleared, found.group, found.armband, found.minor) == (False, "kestrel", 9, True)
    told = {one.code: one.where for one in found.reasons}
    assert {"entry_unpaid": "desk", "briefing_missing": "briefing"}.items() <= told.items()
    assert all(one.sentence for one in found.reasons)


def test_whoever_is_unfit_is_not_ready_and_sent_to_first_aid(park):
    park.when(RecordUnfit(player="p2", cause="injured"))
    (reason,) = shown(park)["p2"].reasons
    assert (reason.code, reason.where) == ("unfit", "first aid")


def test_whoever_is_on_a_field_or_has_left_is_not_at_staging(park):
    call(park, "p1", "p2")
    assert {one.called for one in shown(park).values()} == {"birch", None}
    park.when(StartGame(game="g1"))
    park.when(RecordLeft(player="p3"))
    assert list(shown(park)) == ["p4"]


def test_whoever_is_on_a_waiting_list_says_for_which_field(park):
    call(park, "p1", "p2")
    assert {player: one.called for player, one in shown(park).items()} == {
        "p1": "birch", "p2": "birch", "p3": None, "p4": None,
    }  # fmt: skip


def test_it_says_which_rotation_somebody_plays_in_now(park):
    for rotation in ("r2", "r3"):
        park.when(AssignRotation(rotation=rotation, field="birch", players=("p1",)))
    assert {player: one.rotation for player, one in shown(park).items()} == {
        "p1": "r3", "p2": "birch-1", "p3": "birch-1", "p4": "birch-1",
    }  # fmt: skip


def test_a_hold_of_the_field_makes_no_player_unready(park):
    """What keeps the field shut is the field's, and stands on its own button."""
    park.when(AskHold(hold="h1", field=None, cause="weather"))
    assert all(one.cleared for one in shown(park).values())


def test_who_calls_games_may_ask_and_the_page_needs_no_key():
    asked, page = STAGING_READS[:2]
    assert asked.roles == CallGame.ROLES
    assert page.roles is None
