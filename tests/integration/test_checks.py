"""The day's checks and its closing over HTTP, on real servers; and the closing of the invented day."""

import msgspec
import pytest

from contracts.duty import CheckDone
from contracts.park import DayClosed
from contracts.registration import MinorHandedOver, PlayerLeft, PlayerRegistered, PlayerReturned
from contracts.rules import Check, DutyRules, Rules
from tests.integration.board_day import BoardDay
from tests.integration.live import Live

pytestmark = pytest.mark.timeout(180)
RULES = Rules(
    version="strict",
    duty=DutyRules(
        checks=(
            Check(code="netting", title="Netting whole", each_field=True, play_waits=True, by=("referee",)),
            Check(code="field-empty", title="Field walked", when="closing", each_field=True),
        )
    ),
)


@pytest.fixture(scope="module")
def day(live: Live) -> BoardDay:
    """One field, nothing checked; two players of age and a child with a guardian, all cleared."""
    day = BoardDay(live)
    day.open("birch", rules=msgspec.to_builtins(RULES))
    day.players(2)
    day.send("registration/register-person", {"person": "mother", "age_band": 18})
    day.arrive("kid", 3, age_band=12)
    consent = {"person": "person-kid", "guardian": "mother", "relationship": "parent", "wording": "w1"}
    day.send("registration/give-consent", consent)
    day.clear("kid")
    return day


def ask(live, path, role="manager"):
    answer = live.get(f"/parks/{live.park}/{path}", role)
    assert answer.status_code == 200, answer.text
    return answer.json()


@pytest.fixture(scope="module")
def before(live, day):
    """What is answered while the netting is unchecked and a game is called."""
    day.call("g1", "birch", ["p1", "p2", "kid"])
    return {
        "game": "g1",
        "start": day.send("games/start-game", {"game": "g1"}, expect=409),
        "board": day.board(),
        "gate": ask(live, "clearance/players/p1?field=birch"),
        "checks": ask(live, "duty/checks", "referee"),
    }


@pytest.fixture(scope="module")
def started(live, day, before):
    """The netting is checked, and the game has started; what the gate said between the two."""
    done = live.post("duty/do-check", {"check": "netting", "field": "birch"}, "referee", actor="staff-2")
    assert done.status_code == 201, done.text
    gate = ask(live, "clearance/players/p1?field=birch")
    day.send("games/start-game", {"game": before["game"]})
    return gate


def test_no_game_starts_before_the_check_is_done_and_the_answer_says_where_it_is_cleared(before):
    reasons = before["start"]["refusal"]["reasons"]
    assert [(one["code"], one["where"]) for one in reasons] == [("check_open", "head referee")]
    assert "check_open" in before["board"]["fields"]["birch"]["next"]["waits_for"]
    assert [one["code"] for one in before["gate"]["reasons"]] == ["check_open"]
    (listed,) = before["checks"]["opening"]
    assert (listed["standing"], listed["field"], listed["play_waits"]) == ("open", "birch", True)


def test_a_check_is_for_those_whom_the_rules_name_and_once_it_is_done_play_goes_on(live, started):
    assert live.post("duty/do-check", {"check": "netting", "field": "birch"}, "desk").status_code == 403
    assert started["cleared"]
    (listed,) = ask(live, "duty/checks")["opening"]
    assert (listed["standing"], listed["by"]) == ("passed", "staff-2")


@pytest.mark.usefixtures("day")
def test_the_lists_are_for_staff(live):
    for path in ("duty/checks", "closing"):
        assert live.get(f"/parks/{live.park}/{path}", "board").status_code == 403


@pytest.mark.usefixtures("started")
def test_a_closing_is_as_of_everything_that_was_recorded_and_a_day_is_closed_with_who_is_still_here(live, day):
    found = ask(live, "closing")
    assert found["position"] >= live.head()
    assert [one["player"] for one in found["still_here"]] == ["kid", "p1", "p2"]
    assert (found["still_here"][0]["adults"], found["still_here"][0]["field"]) == (["mother"], "birch")
    assert [(one["state"], one["game"]) for one in found["fields"]] == [("live", "g1")]
    day.send("games/end-game", {"game": "g1"})
    day.send("games/count-heads", {"game": "g1", "counted": 2})
    day.send("games/sweep-field", {"game": "g1", "search_open": True})
    day.send("registration/record-left", {"player": "p1"})
    day.send("registration/record-left", {"player": "p2"})
    found = ask(live, "closing")
    assert [(one["state"], one["missing"]) for one in found["fields"]] == [("searched_for", ["kid"])]
    assert not found["everybody_has_left"]
    closed = day.send("park/close-day", {"closed": day.today.isoformat()})["events"][0]["data"]
    assert (closed["still_here"], closed["minors_here"]) == (1, 1)
    day.send("games/find-player", {"player": "kid", "game": "g1", "place": "staging"})
    assert ask(live, "closing")["fields"] == []
    day.send("registration/hand-over-minor", {"player": "kid", "adult": "mother"})
    found = ask(live, "closing")
    assert (found["everybody_has_left"], found["still_here"]) == (True, [])
    assert {one["gone_home"] for one in found["gear_out"]} == {True}
    assert [one["check"] for one in found["checks"]] == ["field-empty"]
    closed = day.send("park/close-day", {"closed": day.today.isoformat()})["events"][0]["data"]
    assert (closed["still_here"], closed["minors_here"]) == (0, 0)
    late = day.send("park/close-day", {"closed": "2026-01-01"})["events"][0]["data"]
    assert (late["still_here"], late["minors_here"]) == (None, None)


def test_the_invented_day_does_its_checks_and_is_closed_with_as_many_as_had_not_left(demo_day):
    here: dict[str, bool] = {}
    for event in demo_day.events:
        if isinstance(event.data, PlayerRegistered | PlayerReturned):
            here[event.data.player] = True
        elif isinstance(event.data, PlayerLeft | MinorHandedOver):
            here[event.data.player] = False
    (closed,) = [one.data for one in demo_day.events if isinstance(one.data, DayClosed)]
    assert closed.still_here == sum(here.values())
    checks = [one.data for one in demo_day.events if isinstance(one.data, CheckDone)]
    netting = [(one.field, one.faults) for one in checks if one.check == "netting"]
    assert netting == [("fern", ("damaged",)), ("birch", ()), ("quarry", ()), ("fern", ())]
    assert {one.when for one in checks} == {"opening", "closing"}
