"""What was touched by mistake is withdrawn by whoever touched it, and nothing is deleted. Minutes are common practice, no source."""

from datetime import timedelta
from uuid import UUID

import pytest

from contracts.discipline import Caution, VoidCaution
from contracts.games import (
    AdmitPlayer,
    CallGame,
    CheckPaint,
    CountHeads,
    EndGame,
    Entrant,
    FindPlayer,
    OutVoided,
    PlayerOut,
    RecordOut,
    StartGame,
    SweepField,
    VoidOut,
    VoidPaintCheck,
)
from contracts.incidents import DeclareFit
from contracts.park import RulesAdopted
from contracts.problems import NotInThatState, RuleForbids, UnknownSubject
from contracts.rules import GameRules, Rules
from contracts.velocity import SpotCheckMarker, VoidSpotCheck
from services.clearance.field import FIELD
from services.clearance.presence import PRESENCE
from services.discipline.states import RECORD
from services.games.states import GAME
from services.incidents.states import FITNESS
from services.velocity.states import BENCH
from tests.unit.field_day import shut, where
from tests.unit.scenario import Scenario
from tests.unit.small_park import HANDLERS, opening
from tests.unit.test_moment import at, clock, codes

MINUTES = 5
"""For so long whoever recorded something may withdraw it."""


@pytest.fixture
def day():
    """Players p1 and p2 are live on birch."""
    return live("elimination")


def live(kind: str) -> Scenario:
    day = Scenario(HANDLERS.values())
    for command in opening():
        day.when(command)
    entrants = (Entrant(player="p1", colour="red"), Entrant(player="p2", colour="blue"))
    day.at(10).when(CallGame(game="g1", field="birch", format=kind, entrants=entrants))
    day.when(StartGame(game="g1"))
    return day


def out(day: Scenario, player: str = "p1", cause: str = "eliminated") -> UUID:
    """He is recorded out; the id of the event."""
    day.when(RecordOut(player=player, field="birch", game="g1", cause=cause), "referee")
    return day.events[-1].id


def test_whoever_was_out_by_mistake_is_in_the_game_as_if_he_had_not_been(day):
    before = day.state(GAME, "g1"), day.state(PRESENCE, "p1"), day.state(RECORD, "p1")
    mistake = out(day.at(12))
    assert where(day, "p1") is None
    assert day.state(GAME, "g1").out == {"p1"}
    voided = day.at(13).when(VoidOut(player="p1", out=mistake), "referee")
    assert voided == (OutVoided(player="p1", field="birch", game="g1", out=mistake),)
    assert (day.state(GAME, "g1"), day.state(PRESENCE, "p1"), day.state(RECORD, "p1")) == before
    assert [type(event.data) for event in day.events[-2:]] == [PlayerOut, OutVoided], "nothing is deleted"


def test_he_is_counted_with_his_game_again(day):
    mistake = out(day.at(12))
    out(day.at(13), "p2")
    day.when(VoidOut(player="p1", out=mistake), "referee")
    day.at(25).when(EndGame(game="g1"))
    (counted,) = day.at(26).when(CountHeads(game="g1", counted=0))
    assert (counted.expected, counted.missing) == (1, ("p1",))


def counted_without_him(day: Scenario) -> UUID:
    """Player p1 is recorded out by mistake; the game is over, and its count expects p2 alone."""
    mistake = out(day.at(12))
    day.at(25).when(EndGame(game="g1"))
    (counted,) = day.at(26).when(CountHeads(game="g1", counted=1))
    assert (counted.expected, shut(day)) == (1, [])
    return mistake


def test_a_count_that_took_him_for_off_the_field_says_nothing_any_more(day):
    mistake = counted_without_him(day)
    day.at(27).when(VoidOut(player="p1", out=mistake), "head_referee")
    assert shut(day) == ["heads_missing"]
    (counted,) = day.at(28).when(CountHeads(game="g1", counted=2))
    assert (counted.expected, shut(day)) == (2, [])


def test_a_withdrawal_that_happened_before_the_count_and_is_told_after_it_shuts_the_field_as_well(day):
    mistake = counted_without_him(day)
    day.at(27).when(VoidOut(player="p1", out=mistake, occurred_at=clock(13)), "referee")
    assert shut(day) == ["heads_missing"]


def test_that_he_is_found_does_not_settle_it_for_he_may_have_been_among_the_heads(day):
    mistake = counted_without_him(day)
    day.at(27).when(VoidOut(player="p1", out=mistake), "head_referee")
    day.when(FindPlayer(player="p1", game="g1", place="staging"))
    assert shut(day) == ["heads_missing"]
    (counted,) = day.at(28).when(CountHeads(game="g1", counted=1))
    assert (counted.expected, shut(day)) == (1, [])


def test_on_a_field_that_was_swept_he_is_searched_for_until_he_is_found(day):
    mistake = counted_without_him(day)
    day.at(27).when(VoidOut(player="p1", out=mistake), "head_referee")
    day.at(28).when(SweepField(game="g1", search_open=True))
    heads = day.state(FIELD, "birch").runs["g1"].heads
    assert (shut(day), heads.search_open, heads.missing) == ([], True, ("p1",))
    day.at(29).when(FindPlayer(player="p1", game="g1", place="desk"))
    assert not day.state(FIELD, "birch").runs["g1"].heads.search_open


def test_a_field_that_was_played_on_since_stays_open_and_he_is_searched_for(day):
    mistake = counted_without_him(day)
    day.at(30).when(CallGame(game="g2", field="birch", entrants=(Entrant(player="p2", colour="red"),)))
    day.when(StartGame(game="g2"))
    day.at(31).when(VoidOut(player="p1", out=mistake), "head_referee")
    heads = day.state(FIELD, "birch").runs["g1"].heads
    assert (shut(day, game="g2"), heads.search_open, heads.missing) == ([], True, ("p1",))


def test_of_two_outs_only_the_one_that_is_named_is_withdrawn():
    day = live("respawn")
    first = out(day.at(12))
    day.at(13).when(AdmitPlayer(player="p1", field="birch", game="g1", colour="red"))
    second = out(day.at(14))
    day.at(15).when(VoidOut(player="p1", out=first), "referee")
    assert (where(day, "p1"), day.state(GAME, "g1").out) == (None, {"p1"})
    day.when(VoidOut(player="p1", out=second), "referee")
    assert (where(day, "p1"), day.state(GAME, "g1").out) == (("birch", "g1"), frozenset())


def test_whoever_came_off_injured_by_mistake_is_on_the_field_and_waits_for_a_first_aiders_word(day):
    mistake = out(day.at(12), cause="injured")
    day.when(VoidOut(player="p1", out=mistake), "referee")
    assert where(day, "p1") == ("birch", "g1")
    assert day.state(FITNESS, "p1").causes == ("injured",)
    day.when(DeclareFit(player="p1"))
    assert day.state(FITNESS, "p1").causes == ()


def test_as_it_happened_he_had_been_on_the_field_all_along(day):
    mistake = out(day.at(12))
    day.at(14).when(VoidOut(player="p1", out=mistake), "referee")
    withdrawn = len(day.events)
    answer = at(day, 13)
    recorded, happened = codes(answer)
    assert "already_on_field" not in recorded
    assert "already_on_field" in happened
    assert [(one.position, one.effective_at) for one in answer.because] == [(withdrawn, clock(12))]
    assert "the withdrawal of the word that he was off the field" in answer.difference


def test_it_is_withdrawn_within_some_minutes_and_not_a_second_later(day):
    first, second = out(day.at(12)), out(day, "p2")
    day.at(12 + MINUTES).when(VoidOut(player="p1", out=first), "referee")
    day.now += timedelta(seconds=1)
    with pytest.raises(RuleForbids, match="within 5 minutes, or by the head referee"):
        day.when(VoidOut(player="p2", out=second), "referee")
    day.when(VoidOut(player="p2", out=second), "head_referee")
    assert where(day, "p2") == ("birch", "g1")


def test_how_many_minutes_is_a_rule_of_the_park(day):
    day.given(RulesAdopted(rules=Rules(version="strict", games=GameRules(undo_minutes=0))))
    mistake = out(day.at(12))
    day.when(VoidOut(player="p1", out=mistake), "referee")
    again = out(day)
    day.now += timedelta(seconds=1)
    with pytest.raises(RuleForbids, match="within 0 minutes"):
        day.when(VoidOut(player="p1", out=again), "referee")


def test_another_referee_does_not_withdraw_it(day):
    mistake = out(day.at(12))
    day.device = "handheld-2"
    with pytest.raises(RuleForbids, match="by the device that recorded it"):
        day.when(VoidOut(player="p1", out=mistake), "referee")
    assert where(day, "p1") is None


def test_what_was_never_recorded_or_is_withdrawn_already_is_not_withdrawn(day):
    mistake = out(day.at(12))
    with pytest.raises(UnknownSubject):
        day.when(VoidOut(player="p2", out=mistake), "referee")
    day.when(VoidOut(player="p1", out=mistake), "referee")
    with pytest.raises(NotInThatState, match="already"):
        day.when(VoidOut(player="p1", out=mistake), "referee")


def test_a_paint_check_is_a_look_and_puts_nobody_out(day):
    (checked,) = day.at(12).when(CheckPaint(check="k1", player="p1", field="birch", game="g1", finding="hit"))
    assert checked.finding == "hit"
    assert where(day, "p1") == ("birch", "g1")
    (voided,) = day.when(VoidPaintCheck(check="k1", player="p1"))
    assert (voided.check, voided.field) == ("k1", "birch")
    with pytest.raises(NotInThatState):
        day.when(VoidPaintCheck(check="k1", player="p1"))


def test_a_paint_check_on_another_field_than_the_games_is_refused(day):
    with pytest.raises(RuleForbids, match="is on field birch, not on fern"):
        day.at(12).when(CheckPaint(check="k1", player="p1", field="fern", game="g1", finding="clean"))


def test_a_spot_check_that_was_too_fast_stays_so_whatever_is_withdrawn(day):
    fast = SpotCheckMarker(check="s1", marker="h1", field="birch", game="g1", player="p1", speed_fps=290)
    day.at(12).when(fast, "referee")
    before = day.state(BENCH, "h1")
    (voided,) = day.when(VoidSpotCheck(check="s1", marker="h1"), "referee")
    assert (voided.check, voided.marker, voided.field) == ("s1", "h1", "birch")
    assert day.state(BENCH, "h1") == before
    assert before.tests == ()


def test_a_referee_withdraws_his_own_caution_as_a_slip_and_no_other(day):
    day.at(12).when(Caution(caution="c1", violation="wiping", player="p1", game="g1"), "referee")
    for cause in ("appeal_upheld", "not_a_violation"):
        with pytest.raises(RuleForbids, match="for the head referee or a manager"):
            day.when(VoidCaution(caution="c1", cause=cause), "referee")
    day.device = "handheld-2"
    with pytest.raises(RuleForbids, match="by the device that recorded it"):
        day.when(VoidCaution(caution="c1", cause="wrong_player"), "referee")
    day.device = "test"
    day.when(VoidCaution(caution="c1", cause="wrong_player"), "referee")
    assert day.state(RECORD, "p1").entry("c1").voided is not None


def test_after_the_minutes_a_caution_is_the_head_referees(day):
    day.at(12).when(Caution(caution="c1", violation="wiping", player="p1", game="g1"), "referee")
    day.at(12 + MINUTES + 1)
    with pytest.raises(RuleForbids, match="within 5 minutes"):
        day.when(VoidCaution(caution="c1", cause="entered_in_error"), "referee")
    day.when(VoidCaution(caution="c1", cause="entered_in_error"), "head_referee")
    assert day.state(RECORD, "p1").entry("c1").voided is not None
