"""The roll-call for an evacuation: everybody who came and has not left is on it once, where the record last knew him to be."""

import msgspec
import pytest

from contracts.equipment import IssueGear, RegisterMask
from contracts.games import (
    AbandonGame,
    AdmitPlayer,
    AskHold,
    CallGame,
    CountHeads,
    EndGame,
    Entrant,
    LiftHold,
    PlayerAdmitted,
    RecordOut,
    StartGame,
    SweepField,
)
from contracts.park import RecordThunder
from contracts.registration import (
    HoldBriefing,
    RecordLeft,
    RegisterGroup,
    RegisterPerson,
    RegisterPlayer,
    SignWaiver,
)
from contracts.roll_call import GroupHeads, Head
from services.board.roll_call import roll_call
from tests.unit.board_view import at_hand, open_park, shown
from tests.unit.test_clearance import ready_player


@pytest.fixture
def park():
    """Ten past nine: p1 to p4 are ready; birch is open."""
    park = open_park()
    ready_player(park, 4)
    return park


def live(park, *players, game="g1"):
    """A respawn game, red and blue in turn."""
    entrants = tuple(Entrant(player=one, colour=("red", "blue")[at % 2]) for at, one in enumerate(players))
    park.when(CallGame(game=game, field="birch", rotation="birch-1", format="respawn", entrants=entrants))
    park.when(StartGame(game=game))
    return park


def registered(park, number, age_band=18, **more):
    park.when(RegisterPerson(person=f"h{number}", age_band=age_band))
    more = {"day_pass": f"pass{number}", "armband": number} | more
    park.when(RegisterPlayer(player=f"p{number}", person=f"h{number}", **more))


def called(park):
    return roll_call(at_hand(park), "larchmoor", 1)


def on(park, field="birch"):
    return [head.armband for head in called(park).fields[field].on]


def off_since(park, field="birch"):
    return [head.armband for head in called(park).fields[field].off_since]


def elsewhere(park):
    return sorted(head.armband for group in called(park).groups for head in group.heads)


def test_who_is_in_a_game_is_on_its_field_by_number_and_colour_and_the_others_are_in_the_park(park):
    live(park, "p2", "p1")
    call = called(park)
    assert call.fields["birch"].on == (Head(armband=1, colour="blue"), Head(armband=2, colour="red"))
    assert (call.fields["birch"].title, call.fields["birch"].staff) == ("Birch", 1)
    assert call.fields["fern"].on == ()
    assert elsewhere(park) == [3, 4]
    assert (call.on_fields, call.off_fields) == (2, 2)


def test_who_is_on_a_field_without_playing_is_called_too_and_counted_on_the_board(park):
    registered(park, 9, part="photographer")
    park.when(SignWaiver(person="h9", wording="w1"))
    park.when(HoldBriefing(briefing="b9", version=1, players=("p9",)))
    park.when(RegisterMask(mask="k9", model="Visor"))
    park.when(IssueGear(player="p9", mask="k9"))
    (admitted,) = park.when(AdmitPlayer(player="p9", field="birch"))
    assert isinstance(admitted, PlayerAdmitted)
    assert called(park).fields["birch"].on == (Head(armband=9, part="photographer"),)
    assert shown(park).fields["birch"].inside == 1
    park.at(20).when(AskHold(hold="h"))
    park.at(22).when(RecordOut(player="p9", field="birch", cause="walked_off"))
    assert (on(park), off_since(park), elsewhere(park)) == ([], [9], [1, 2, 3, 4, 9])


def test_groups_are_kept_together_and_who_came_alone_is_last_and_minors_are_marked(park):
    park.when(RegisterGroup(group="kestrel", size=2))
    registered(park, 11, age_band=12, group="kestrel")
    registered(park, 12, group="kestrel")
    live(park, "p1", "p2", "p3")
    call = called(park)
    assert call.groups == (
        GroupHeads(group="kestrel", heads=(Head(armband=11, minor=True), Head(armband=12))),
        GroupHeads(heads=(Head(armband=4),)),
    )
    assert (call.minors_on_fields, call.minors_off_fields) == (0, 1)


def test_who_left_the_park_is_on_no_list(park):
    park.when(RecordLeft(player="p1"))
    assert elsewhere(park) == [2, 3, 4]


def test_who_came_off_since_play_was_stopped_is_told_and_who_was_off_before_is_not(park):
    live(park, "p1", "p2", "p3", "p4")
    park.at(12).when(RecordOut(player="p1", field="birch", game="g1", cause="eliminated"))
    park.at(15).when(RecordThunder())
    assert (on(park), off_since(park)) == ([2, 3, 4], [])
    park.at(16).when(RecordOut(player="p2", field="birch", game="g1", cause="walked_off"))
    park.at(17).when(RecordLeft(player="p3"))
    assert (on(park), off_since(park), elsewhere(park)) == ([4], [2, 3], [1, 2])
    assert called(park).fields["birch"].stopped_since == park.now.replace(minute=15)


def test_somebody_who_came_off_and_was_let_in_again_is_on_the_field(park):
    live(park, "p1", "p2")
    park.at(15).when(RecordOut(player="p1", field="birch", game="g1", cause="walked_off"))
    park.at(16).when(AdmitPlayer(player="p1", field="birch", game="g1", colour="red"))
    park.at(18).when(AskHold(hold="h"))
    assert (on(park), off_since(park)) == ([1, 2], [])


def test_a_game_that_is_given_up_leaves_its_players_on_the_field_until_the_heads_are_counted(park):
    live(park, "p1", "p2", "p3")
    park.at(15).when(RecordThunder())
    park.at(16).when(AbandonGame(game="g1", cause="weather"))
    assert (on(park), elsewhere(park)) == ([1, 2, 3], [4])
    assert shown(park).fields["birch"].inside == 3
    park.at(18).when(CountHeads(game="g1", counted=3))
    assert (on(park), off_since(park), elsewhere(park)) == ([], [1, 2, 3], [1, 2, 3, 4])


def test_whom_the_count_lacks_is_still_on_the_field_and_sought_and_the_others_are_off(park):
    live(park, "p1", "p2", "p3")
    park.at(15).when(AskHold(hold="h"))
    park.at(16).when(EndGame(game="g1"))
    park.at(18).when(CountHeads(game="g1", counted=2, accounted=("p1",)))
    park.at(19).when(CountHeads(game="g1", counted=1))
    assert called(park).fields["birch"].on == (
        Head(armband=2, colour="blue", sought=True),
        Head(armband=3, colour="red", sought=True),
    )
    assert off_since(park) == [1]


def test_after_a_sweep_with_an_open_search_the_missing_are_off_the_field_and_still_sought(park):
    live(park, "p1", "p2")
    park.at(15).when(AskHold(hold="h"))
    park.at(16).when(EndGame(game="g1"))
    park.at(18).when(CountHeads(game="g1", counted=0))
    park.at(25).when(SweepField(game="g1", search_open=True))
    call = called(park)
    assert call.fields["birch"].on == ()
    assert [(head.armband, head.sought) for group in call.groups for head in group.heads] == [
        (1, True),
        (2, True),
        (3, False),
        (4, False),
    ]
    assert off_since(park) == [], "nobody has seen them"


def test_once_the_hold_is_lifted_nobody_is_told_as_come_off_since(park):
    live(park, "p1", "p2")
    park.at(15).when(AskHold(hold="h", field="birch"))
    park.at(16).when(RecordOut(player="p1", field="birch", game="g1", cause="injured"))
    assert off_since(park) == [1]
    park.at(17).when(LiftHold(hold="h", field="birch", swept=True))
    assert called(park).fields["birch"].stopped_since is None
    assert off_since(park) == []


def test_everybody_is_on_it_once_and_nobody_by_name(park):
    live(park, "p1", "p2")
    park.at(15).when(AskHold(hold="h"))
    park.at(16).when(RecordOut(player="p1", field="birch", game="g1", cause="walked_off"))
    assert sorted(on(park) + elsewhere(park)) == [1, 2, 3, 4]
    told = msgspec.json.encode(called(park)).decode()
    assert not [name for name in ("p1", "h1", "pass1", "m1", "k1") if f'"{name}"' in told]
