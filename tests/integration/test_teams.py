"""Teams proposed and overruled over HTTP, on real servers."""

import pytest

from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(180)
SIZES = {"kestrel": 3, "merlin": 2, "osprey": 1}


@pytest.fixture(scope="module")
def park(live):
    day = BoardDay(live)
    day.open("alder")
    armband = 0
    for group, size in SIZES.items():
        day.send("registration/register-group", {"group": group, "size": size})
        for number in range(size):
            armband += 1
            day.clear(day.arrive(f"{group}-{number}", armband, group=group))
    day.arrive("unpaid", 99)
    return live


PLAYERS = [f"{group}-{number}" for group, size in SIZES.items() for number in range(size)]


def ask(park, role="staging", **more):
    body = {"field": "alder", "players": [*PLAYERS, "unpaid"]} | more
    return park.post("games/propose-teams", body, role)


def test_teams_of_who_is_cleared_are_proposed_whole_level_and_nothing_is_written(park):
    before = park.head()
    answer = ask(park)
    assert answer.status_code == 200, answer.text
    found = answer.json()
    teams = [set(team["players"]) for team in found["teams"]]
    assert {frozenset(team) for team in teams} == {
        frozenset({"kestrel-0", "kestrel-1", "kestrel-2"}),
        frozenset({"merlin-0", "merlin-1", "osprey-0"}),
    }
    heads = found["balance"][0]
    assert (heads["attribute"], [one["total"] for one in heads["sums"]], heads["difference"]) == ("players", [3, 3], 0)
    assert (found["proven"], found["gap"], found["basis"]["position"]) == (True, 0, before)
    (out,) = found["not_ready"]
    assert out["player"] == "unpaid"
    assert "entry_unpaid" in [one["code"] for one in out["reasons"]]
    assert park.head() == before


@pytest.fixture(scope="module")
def call(park):
    """A game called with one player put elsewhere than was proposed: what was proposed, whom the referee moved, and the receipt."""
    proposed = ask(park).json()["proposed"]
    worn = {one["player"]: one["colour"] for one in proposed["entrants"]}
    other = "blue" if worn["osprey-0"] == "red" else "red"
    entrants = [{"player": name, "colour": other if name == "osprey-0" else colour} for name, colour in worn.items()]
    body = {"game": "alder-1", "field": "alder", "entrants": entrants, "proposal": proposed}
    answer = park.post("games/call-game", body, "referee", actor="staff-wren")
    assert answer.status_code == 201, answer.text
    return proposed, {"player": "osprey-0", "proposed": worn["osprey-0"], "called": other}, answer.json()


def test_the_call_records_the_proposal_and_what_the_referee_changed_in_it(call):
    proposed, moved, receipt = call
    called, beside = receipt["events"]
    assert (called["type"], beside["type"]) == ("games.game_called", "games.teams_called")
    assert beside["data"]["proposal"] == proposed["proposal"]
    assert beside["data"]["overruled"] == [moved]
    heads = beside["data"]["proposed"][0]["difference"], beside["data"]["called"][0]["difference"]
    assert heads == (0, 2)


@pytest.mark.usefixtures("call")
def test_the_change_is_told_in_the_game_s_story_with_who_made_it(park):
    events = park.get(f"/parks/{park.park}/audit/stories/game/alder-1", "auditor").json()["events"]
    (told,) = [one for one in events if one["type"] == "games.teams_called"]
    assert "with 1 player put elsewhere" in told["sentence"]
    assert told["actor"] == "staff-wren"


@pytest.mark.parametrize(
    ("more", "role", "status", "problem"),
    [
        ({}, "board", 403, "not-allowed"),
        ({"field": "moor"}, "staging", 404, "unknown-subject"),
        ({"after": "game-of-nobody"}, "staging", 404, "unknown-subject"),
        ({"players": []}, "staging", 422, "invalid-body"),
        ({"colours": ["red", "red"]}, "staging", 422, "rule-forbids"),
        ({"targets": True}, "staging", 422, "invalid-body"),
    ],
)
def test_what_does_not_fit_is_refused_by_name(park, more, role, status, problem):
    answer = ask(park, role, **more)
    assert (answer.status_code, answer.json()["type"]) == (status, f"/problems/{problem}")


def test_what_is_no_json_is_refused(park):
    headers = park.headers("staging")
    assert park.send("games/propose-teams", b"{", headers).status_code == 400
    assert park.send("games/propose-teams", b"{}", headers | {"Content-Type": "text/plain"}).status_code == 415
