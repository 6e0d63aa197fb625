"""The rotation out of the board's memory: fields, groups and the published plan as the planner is given them, and what the wall and staging are shown."""

from datetime import timedelta
from math import inf

import pytest
from msgspec.structs import replace

from contracts.discipline import Caution
from contracts.equipment import IssueGear, RegisterMarker, RegisterMask
from contracts.games import (
    AskHold,
    BookSession,
    CallGame,
    CancelSession,
    CountHeads,
    EndGame,
    Entrant,
    LiftHold,
    PublishRotation,
    StartGame,
)
from contracts.problems import AlreadyRecorded, NotInThatState, RuleForbids, UnknownSubject
from contracts.registration import (
    AssignRotation,
    HoldBriefing,
    RecordLeft,
    RecordPayment,
    RegisterGroup,
    RegisterPerson,
    RegisterPlayer,
    SignWaiver,
)
from contracts.rotation import PlannedParty
from contracts.velocity import TestMarker as StringShot
from services.board.rotation import gathered, rotation
from services.registration.states import GROUP, PLAYER
from tests.unit.board_view import at_hand, open_park, shown
from tests.unit.scenario import NINE

REST, BREAK, GAME = 10, 7, 15
"""Minutes, of the default rules."""


@pytest.fixture
def park():
    """Birch is open to 15 by its one referee; kestrel has five and heron four players ready; p1 to p3 came alone."""
    made = open_park()
    for number in range(11, 16):
        member(made, number, "kestrel")
    for number in range(21, 25):
        member(made, number, "heron")
    return made


def member(park, number, group, *, briefed=True):
    """A hired adult of a group who lacks nothing; or the briefing."""
    player, person = f"p{number}", f"h{number}"
    if not park.state(GROUP, group).known:
        park.when(RegisterGroup(group=group, size=8))
    park.when(RegisterPerson(person=person, age_band=18))
    park.when(SignWaiver(person=person, wording="w1"))
    park.when(
        RegisterPlayer(player=player, person=person, group=group, day_pass=f"pass{number}", armband=number),
    )
    park.when(
        RecordPayment(payment=f"pay{number}", players=(player,), purpose="entry", means="cash", amount_minor=2500)
    )
    if briefed:
        park.when(HoldBriefing(briefing="b1", version=1, players=(player,)))
    park.when(RegisterMarker(marker=f"m{number}", model="Heron"))
    park.when(
        StringShot(test=f"t{number}", marker=f"m{number}", chrono="c1", readings_fps=(281, 280, 279), sealed=True)
    )
    park.when(RegisterMask(mask=f"k{number}", model="Visor"))
    park.when(IssueGear(player=player, marker=f"m{number}", mask=f"k{number}"))
    return player


def party(park, name):
    return next(one.party for one in gathered(at_hand(park)).waiting if one.party.name == name)


def ground(park, name="birch"):
    return next(one for one in gathered(at_hand(park)).grounds if one.field == name)


def made(park):
    return rotation(at_hand(park), "larchmoor", 1)


def sentences(park):
    return {one.party: (one.code, one.sentence) for one in made(park).waiting}


def called(park, game, *players):
    entrants = tuple(Entrant(player=player, colour=("red", "blue")[index % 2]) for index, player in enumerate(players))
    park.when(CallGame(game=game, field="birch", rotation="birch-1", minutes=GAME, entrants=entrants))


def play(park, game, *players):
    called(park, game, *players)
    park.when(StartGame(game=game))


def publish(park, plan=None, games=None, name="plan-1"):
    plan = plan or made(park)
    return park.when(
        PublishRotation(plan=name, position=plan.position, after=plan.after, proposed=plan.games, games=games)
    )[0]


KESTREL = tuple(f"p{number}" for number in range(11, 16))


def test_a_field_takes_what_its_capacity_and_its_referees_allow_and_is_free_now(park):
    found = ground(park)
    assert (found.places, found.free_at, found.minutes) == (15, 0, 15)


def test_a_field_that_nobody_inspected_is_free_nobody_knows_when(park):
    assert ground(park, "fern").free_at is None


def test_a_field_without_a_game_in_the_plan_is_named_with_why(park):
    """Nobody has to guess why a field that stands there has nobody on it."""
    assert {one.field: one.codes for one in made(park).shut}["fern"][0] == "field_not_inspected"
    play(park, "g1", *KESTREL)
    assert "birch" not in {one.field for one in made(park.at(14)).shut}, "a field that is played on is none"
    park.at(25).when(EndGame(game="g1"))
    park.when(CountHeads(game="g1", counted=6))
    (shut,) = [one for one in made(park).shut if one.field == "birch"]
    assert shut.codes == ("heads_missing",)
    assert "6 came off where 5 were expected. Count again" in shut.sentence
    park.when(CountHeads(game="g1", counted=5))
    park.at(30).when(AskHold(hold="h1", field="birch"))
    assert {one.field: one.codes for one in made(park).shut}["birch"] == ("field_on_hold",)


def test_a_field_is_free_after_the_game_that_runs_and_its_break(park):
    play(park, "g1", *KESTREL)
    assert ground(park.at(14)).free_at == pytest.approx(GAME - 4 + BREAK)


def test_a_game_over_its_time_may_end_any_minute_and_a_stop_moves_its_end_on(park):
    play(park, "g1", *KESTREL)
    assert ground(park.at(30)).free_at == pytest.approx(BREAK)
    park.at(12).when(AskHold(hold="h1", field="birch"))
    assert ground(park).free_at is None
    park.at(17).when(LiftHold(hold="h1", field="birch", swept=True))
    assert ground(park).free_at == pytest.approx(GAME - 2 + BREAK)


def test_a_field_is_free_a_break_after_its_last_game_ended_and_not_while_a_count_lacks_somebody(park):
    play(park, "g1", *KESTREL)
    park.at(25).when(EndGame(game="g1"))
    assert ground(park.at(27)).free_at == pytest.approx(BREAK - 2)
    park.when(CountHeads(game="g1", counted=4))
    assert ground(park).free_at is None
    park.when(CountHeads(game="g1", counted=5))
    assert ground(park).free_at == pytest.approx(BREAK - 2)


def test_a_called_game_has_the_field_and_its_players_before_the_plan_has(park):
    called(park, "g1", *KESTREL)
    assert ground(park).free_at == pytest.approx(GAME + BREAK)
    assert party(park, "group:kestrel").ready_at == pytest.approx(GAME + REST)
    assert party(park, "group:heron").ready_at == 0


def test_a_group_waits_since_the_last_of_its_own_could_play(park):
    waiting = party(park.at(25), "group:kestrel")
    assert (waiting.ready_at, waiting.waited, waiting.players) == (0, pytest.approx(15), {"birch": 5})


def test_a_group_that_plays_is_ready_after_its_game_and_a_rest_and_waits_from_then_on(park):
    play(park, "g1", *KESTREL)
    assert party(park.at(14), "group:kestrel").ready_at == pytest.approx(GAME - 4 + REST)
    park.at(25).when(EndGame(game="g1"))
    park.when(CountHeads(game="g1", counted=5))
    rests = party(park.at(30), "group:kestrel")
    assert (rests.ready_at, rests.waited, rests.played) == (pytest.approx(REST - 5), 0, 1)
    waits = party(park.at(50), "group:kestrel")
    assert (waits.ready_at, waits.waited) == (0, pytest.approx(25 - REST))


def test_a_group_waits_for_a_straggler_as_long_as_the_rule_says_and_is_called_without_him_then(park):
    member(park.at(20), 16, "kestrel", briefed=False)
    late = party(park.at(20), "group:kestrel")
    assert (late.ready_at, late.players) == (pytest.approx(15 - 10), {"birch": 5})
    assert party(park.at(26), "group:kestrel").ready_at == 0


def test_a_group_of_which_nobody_is_ready_is_so_nobody_knows_when_and_is_told_where_it_lacks_what(park):
    member(park, 31, "wren", briefed=False)
    assert party(park, "group:wren").ready_at == inf
    assert sentences(park)["group:wren"] == ("not_ready", "Group wren is not ready: 1 at the briefing first.")


def test_who_sits_out_holds_nobody_up_and_his_group_is_called_without_him(park):
    park.when(AssignRotation(rotation="birch-1", field="birch", players=("p11",)))
    park.when(Caution(caution="c1", player="p11", violation="wiping"))
    found = party(park, "group:kestrel")
    assert (found.ready_at, found.players) == (0, {"birch": 4})


def test_who_has_left_is_in_no_party(park):
    for player in ("p1", *KESTREL):
        park.when(RecordLeft(player=player))
    names = {one.party.name for one in gathered(at_hand(park)).waiting}
    assert names == {"group:heron", "player:p2", "player:p3"}


def test_a_group_that_is_too_fast_for_a_field_is_fit_for_the_others_only(park):
    """281 ft/s at the bench: under birch's 285, over fern's 260."""
    assert party(park, "group:heron").players == {"birch": 4}


def test_the_plan_is_in_the_parks_own_time_and_names_parties_by_their_tags(park):
    plan = made(park)
    first = plan.games[0]
    assert (first.field, first.start, first.minutes) == ("birch", NINE + timedelta(minutes=10), 15)
    assert sum(one.players for one in first.parties) == 12
    assert {one.party for one in first.parties} == {
        "group:heron",
        "group:kestrel",
        "player:p1",
        "player:p2",
        "player:p3",
    }
    assert not plan.waiting


def test_the_published_plan_is_the_one_before_without_the_games_that_were_called_since(park):
    publish(park)
    before = gathered(at_hand(park)).before
    assert [one.start for one in before][:1] == [0]
    play(park, "g1", *KESTREL)
    assert len(gathered(at_hand(park)).before) == len(before) - 1


def test_a_game_that_was_called_before_the_plan_was_made_takes_none_of_its_games(park):
    play(park, "g1", *KESTREL)
    plan = made(park)
    publish(park, plan)
    assert plan.after[0].game == "g1"
    assert len(gathered(at_hand(park)).before) == len(plan.games)


def test_the_same_park_a_minute_later_has_the_same_plan_and_nobody_moves(park):
    play(park, "g1", *KESTREL)
    plan = made(park)
    publish(park, plan)
    later = made(park.at(11))
    again = later.games[: len(plan.games)]
    assert [(game.field, game.parties) for game in again] == [(game.field, game.parties) for game in plan.games]
    for one, other in zip(again, plan.games, strict=True):
        assert abs(one.start - other.start) <= timedelta(seconds=1)
    assert (later.moved, later.published) == ((), "plan-1")


def test_what_staging_changes_is_on_the_record_and_the_next_plan_keeps_it(park):
    plan = made(park)
    first, *others = plan.games
    without = tuple(one for one in first.parties if one.party != "group:heron")
    event = publish(park, plan, (replace(first, parties=without), *others))
    told = event.overruled[0]
    assert (told.party, told.proposed.field, told.proposed.start, told.published) == (
        "group:heron",
        "birch",
        first.start,
        None,
    )
    assert [game.fixed for game in event.games] == [True, *(False for _ in others)]
    again = made(park).games[0]
    assert (again.fixed, {one.party for one in again.parties}) == (True, {one.party for one in without})


def test_a_plan_that_was_not_changed_overrules_nothing(park):
    event = publish(park)
    assert (event.overruled, any(game.fixed for game in event.games)) == ((), False)


def test_a_plan_that_rests_on_what_was_never_recorded_is_refused(park):
    plan = made(park)
    with pytest.raises(RuleForbids, match="the record ends at"):
        publish(park, replace(plan, position=10**15))


@pytest.mark.parametrize("shift", [0, 14])
def test_a_plan_with_two_games_at_once_on_a_field_is_refused(park, shift):
    first = made(park).games[0]
    other = replace(
        first,
        start=first.start + timedelta(minutes=shift),
        parties=(PlannedParty(party="group:wren", players=6),),
    )
    with pytest.raises(RuleForbids, match="Field birch has two games at once"):
        publish(park, games=(first, other))


def test_a_plan_with_a_party_in_two_games_at_once_or_on_no_field_of_the_park_is_refused(park):
    first = made(park).games[0]
    with pytest.raises(RuleForbids, match="Party group:heron has two games at once"):
        publish(park, games=(first, replace(first, field="fern")))
    with pytest.raises(UnknownSubject, match="quarry"):
        publish(park, games=(replace(first, field="quarry"),))


def test_a_plan_with_a_party_whole_and_a_part_of_it_at_once_is_refused(park):
    first = made(park).games[0]
    part = replace(first, field="fern", parties=(PlannedParty(party="group:heron", players=2, part=1),))
    with pytest.raises(RuleForbids, match="Party group:heron part 1 has two games at once"):
        publish(park, games=(first, part))
    other = replace(part, parties=(PlannedParty(party="group:heron", players=2, part=2),))
    publish(park, games=(part, replace(other, field="birch")))


def test_whom_a_head_count_lacks_is_not_ready_for_he_may_still_be_on_his_field(park):
    play(park, "g1", *KESTREL)
    park.at(30).when(EndGame(game="g1", winner=None))
    park.at(31).when(CountHeads(game="g1", counted=4))
    found = next(one for one in gathered(at_hand(park)).waiting if one.party.name == "group:kestrel")
    assert (found.party.ready_at, found.lacking) == (inf, {"head-count": 5})
    park.at(32).when(CountHeads(game="g1", counted=5))
    assert party(park, "group:kestrel").ready_at < inf


def book(park, name="s1", field="birch", group="kestrel", *, start=30, end=90):
    park.when(
        BookSession(
            session=name,
            field=field,
            group=group,
            start=NINE + timedelta(minutes=start),
            end=NINE + timedelta(minutes=end),
        )
    )


def test_a_private_session_keeps_its_field_for_its_group(park):
    book(park)
    session = ground(park).private[0]
    assert (session.party, session.start, session.end) == ("group:kestrel", 20, 80)
    inside = [game for game in made(park).games if timedelta(minutes=30) <= game.start - NINE < timedelta(minutes=90)]
    assert inside
    assert all(game.private and [one.party for one in game.parties] == ["group:kestrel"] for game in inside)


def test_a_cancelled_session_keeps_nothing(park):
    book(park)
    park.when(CancelSession(of=NINE.date(), session="s1"))
    assert ground(park).private == ()
    assert not any(game.private for game in made(park).games)


@pytest.mark.parametrize(("field", "group"), [("birch", "heron"), ("fern", "kestrel")])
def test_no_two_sessions_are_on_one_field_or_for_one_group_at_once(park, field, group):
    book(park)
    with pytest.raises(NotInThatState, match="Session s1 has field birch for group kestrel"):
        book(park, "s2", field, group, start=89, end=120)
    book(park, "s2", field, group, start=90, end=120)


def test_a_session_has_a_name_of_its_own_a_length_and_a_group_that_is_known(park):
    with pytest.raises(RuleForbids, match="ends after it starts"):
        book(park, start=30, end=30)
    with pytest.raises(RuleForbids, match="within 12 hours"):
        book(park, start=30, end=30 + 12 * 60 + 1)
    with pytest.raises(UnknownSubject, match="group"):
        book(park, group="wren")
    with pytest.raises(UnknownSubject, match="session"):
        park.when(CancelSession(of=NINE.date(), session="s1"))
    book(park)
    park.when(CancelSession(of=NINE.date(), session="s1"))
    with pytest.raises(AlreadyRecorded):
        book(park)


def test_the_wall_shows_the_next_games_of_the_plan_by_group_and_how_many_came_alone(park):
    assert shown(park).fields["birch"].then == ()
    publish(park)
    coming = shown(park).fields["birch"].then[0]
    assert (coming.at, coming.groups, coming.alone, coming.players) == (
        NINE + timedelta(minutes=10),
        ("heron", "kestrel"),
        3,
        12,
    )


def test_a_planned_game_that_is_long_overdue_is_on_the_wall_no_more(park):
    """Overdue by its own length and the rule's 10 minutes."""
    publish(park, games=made(park).games[:1])
    assert shown(park.at(10 + GAME + 10 - 1)).fields["birch"].then
    assert not shown(park.at(10 + GAME + 10)).fields["birch"].then


def test_what_the_board_takes_in_while_a_plan_is_made_does_not_change_what_the_plan_is_made_of(park):
    seen = at_hand(park)
    still = seen.still()
    before = gathered(still)
    seen.arrivals.clear()
    seen.verdicts.clear()
    for fold, subject in [(GROUP, "kestrel"), *((PLAYER, f"p{number}") for number in range(30))]:
        seen.given.put((fold, subject), fold.start(subject))
    assert gathered(still) == before
    assert not gathered(seen).waiting
