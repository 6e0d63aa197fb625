"""The waits over HTTP: anybody may read them, from a park that is really up, and they name nobody."""

import time

import msgspec
import pytest

from contracts.waits import Waits
from services.board.live import FORETOLD
from tests.integration.board_day import BoardDay
from tests.integration.live import Live

pytestmark = pytest.mark.timeout(120)


@pytest.fixture(scope="module")
def day(live: Live) -> BoardDay:
    """Four players are on birch; two are ready; three more are registered and have not paid."""
    day = BoardDay(live)
    day.open("birch", "fern")
    players = day.players(6)
    day.start("g1", "birch", players[:4])
    for number in (51, 52, 53):
        day.arrive(f"late-{number}", number)
    return day


def waits(live: Live) -> Waits:
    answer = live.http.get(f"/parks/{live.park}/waits", params={"at_least": f"1:{live.head()}"})
    assert answer.status_code == 200, answer.text
    assert answer.headers["cache-control"] == "no-store"
    return msgspec.json.decode(answer.content, type=Waits)


@pytest.mark.usefixtures("day")
def test_anybody_may_ask_how_long_one_waits_and_nobody_is_named(live):
    found = waits(live)
    assert (found.position, found.confidence) == (live.head(), 0.8)
    assert set(found.stations) == {"desk", "briefing", "gear counter", "chronograph"}
    desk = found.stations["desk"]
    assert (desk.waiting, desk.servers) == (3, 1)
    assert [one.armband for one in desk.line] == [51, 52, 53]
    assert desk.wait.low <= desk.wait.likely <= desk.wait.high
    assert "late-5" not in str(found)


def test_who_is_called_is_told_when_he_plays(live, day):
    players = ["p5", "p6"]
    entrants = [{"player": player, "colour": colour} for player, colour in zip(players, ("red", "blue"), strict=True)]
    day.send("games/call-game", {"game": "g2", "field": "fern", "entrants": entrants})
    told = [one for one in waits(live).plays.values() if one.game == "g2"]
    assert len(told) == 2
    assert {one.title for one in told} == {"Fern"}
    assert all(one.starts.low == 0 for one in told)


def test_the_wall_has_the_wait_of_who_joins_a_line_within_some_seconds(day):
    ends = time.monotonic() + 10 * FORETOLD
    while "wait" not in day.board()["stations"]["desk"]:
        assert time.monotonic() < ends
        time.sleep(0.2)
    assert day.board()["stations"]["desk"]["wait"].keys() <= {"low", "likely", "high"}
    assert "wait" not in day.board()["stations"]["staging"]


@pytest.mark.parametrize(("query", "code"), [("?at_least=1:999999999", 422), ("?at_least=yesterday", 400)])
def test_what_does_not_fit_is_a_problem_and_says_what_to_do(live, query, code):
    answer = live.http.get(f"/parks/{live.park}/waits{query}")
    assert answer.status_code == code
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["detail"]


def test_there_are_no_waits_of_a_park_that_is_not_there(live):
    assert live.http.get("/parks/nowhere/waits").status_code == 404
