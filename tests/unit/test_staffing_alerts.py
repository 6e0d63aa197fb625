"""What the board says of a live field that lacks staff, of a fault found meanwhile, of a count too high and of a search for nobody by name."""

import pytest

from contracts.duty import DoCheck, EndDuty, RegisterStaff, StartDuty
from contracts.games import CountHeads, EndGame, FindPlayer, StartGame, SweepField
from contracts.park import AdoptRules
from contracts.rules import Check, DutyRules, Rules
from tests.unit.board_view import open_park, shown
from tests.unit.scenario import Scenario
from tests.unit.test_clearance import called

NETTING = Check(code="netting", title="Netting whole", each_field=True, play_waits=True)


@pytest.fixture
def park() -> Scenario:
    """Birch is live with p1 and p2, one referee, its netting checked."""
    park = open_park()
    park.when(AdoptRules(rules=Rules(version="strict", duty=DutyRules(checks=(NETTING,)))))
    called(park, "g1", "p1", "p2")
    assert "check_open" in shown(park).fields["birch"].next.waits_for
    park.when(DoCheck(check="netting", field="birch"))
    park.when(StartGame(game="g1"))
    return park.at(12)


def alerts(park: Scenario) -> dict[str, str]:
    return {one.kind: one.sentence for one in shown(park).alerts}


def test_a_referee_who_leaves_a_live_game_is_missed_at_once_until_another_comes(park):
    assert alerts(park) == {}
    park.when(EndDuty(staff="s1"))
    assert alerts(park) == {
        "too_few_referees": "Birch is live with 0 of 1 referees for its 2 players. Send one, or stop play."
    }
    park.at(13).when(StartDuty(staff="s1", post="referee", field="birch"))
    assert alerts(park) == {}


def test_a_referee_who_is_no_longer_qualified_is_missed_in_a_live_game(park):
    park.when(RegisterStaff(staff="s1", qualifications=()))
    assert list(alerts(park)) == ["too_few_referees"]


def test_nobody_is_missed_where_no_game_is_live(park):
    park.when(EndGame(game="g1"))
    park.when(CountHeads(game="g1", counted=2))
    park.when(EndDuty(staff="s1"))
    assert alerts(park) == {}


def test_a_fault_that_a_check_finds_on_a_live_field_is_told(park):
    park.when(DoCheck(check="netting", field="birch", faults=("damaged",)))
    assert list(alerts(park)) == ["check_failed"]
    park.at(14).when(DoCheck(check="netting", field="birch"))
    assert alerts(park) == {}


def test_a_count_too_high_is_told_with_both_numbers(park):
    park.when(EndGame(game="g1"))
    park.when(CountHeads(game="g1", counted=3))
    assert alerts(park) == {"heads_missing": "3 came off Birch where 2 were expected. Count again; keep it shut."}


def test_a_search_that_nobody_counted_for_is_told_until_a_count_says_whom_it_seeks_and_he_is_found(park):
    park.when(EndGame(game="g1"))
    park.when(SweepField(game="g1", search_open=True))
    assert alerts(park) == {
        "search_open": "Search open on Birch, and nobody was counted: count heads to know whom it seeks."
    }
    park.at(15).when(CountHeads(game="g1", counted=1, accounted=("p1",)))
    assert alerts(park) == {}
    park.at(16).when(CountHeads(game="g1", counted=0))
    assert list(alerts(park)) == ["heads_missing"]
    park.at(17).when(FindPlayer(player="p2", game="g1", place="desk"))
    assert alerts(park) == {}
