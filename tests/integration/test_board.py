"""The board over HTTP: JSON, the stream of events, and the page's files, from a park that is really up."""

import time
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from contracts.board import PAGE
from services.board.live import Board
from services.core.clock import SetClock
from tests.integration.board_day import BoardDay
from tests.integration.events import following
from tests.integration.live import Live, serving

pytestmark = pytest.mark.timeout(120)


@pytest.fixture(scope="module")
def day(live: Live) -> BoardDay:
    """Six players, four of them in a game on birch; fern is free."""
    day = BoardDay(live)
    day.open("birch", "fern")
    players = day.players(6)
    day.start("g1", "birch", players[:4])
    return day


@pytest.fixture(autouse=True)
def _caught_up(day: BoardDay) -> None:
    """A test begins with a board that shows all that was sent before it."""
    day.board()


def board(live):
    return live.running.app.state.boards[live.park]


def wait_until(true, seconds=30.0):
    ends = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < ends, "it did not come about in time"
        time.sleep(0.02)


@pytest.mark.usefixtures("day")
def test_anybody_may_read_the_status_and_nothing_keeps_a_copy(live):
    answer = live.http.get(f"/parks/{live.park}/board.json", params={"at_least": f"1:{live.head()}"})
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"
    status = answer.json()
    assert (status["park"], status["position"], status["epoch"]) == (live.park, live.head(), 1)
    assert status["fields"]["birch"]["teams"] == {
        "red": {"playing": 2, "out": 0},
        "blue": {"playing": 2, "out": 0},
    }
    assert (status["players"]["cleared"], status["players"]["on_field"]) == (2, 4)


@pytest.mark.parametrize(
    ("path", "code"),
    [
        ("/parks/nowhere/board.json", 404),
        ("/parks/nowhere/board", 404),
        ("/parks/nowhere/board/stream", 404),
        ("/parks/nowhere/board/board.css", 404),
        ("/parks/{park}/board/secret.py", 404),
        ("/parks/{park}/board.json?at_least=1:999999999", 422),
        ("/parks/{park}/board.json?at_least=yesterday", 400),
    ],
)
def test_what_is_not_there_or_does_not_fit_is_a_problem(live, path, code):
    answer = live.http.get(path.replace("{park}", live.park))
    assert (answer.status_code, answer.headers["content-type"]) == (code, "application/problem+json")


def test_the_page_may_load_its_own_files_and_nothing_else(live):
    page = live.http.get(f"/parks/{live.park}/board")
    assert page.headers["content-type"].startswith("text/html")
    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert "http" not in page.text
    for name, media in PAGE.items():
        answer = live.http.get(f"/parks/{live.park}/board/{name}")
        assert (answer.status_code, answer.headers["content-type"].partition(";")[0]) == (200, media)
        assert answer.headers["cache-control"] == "no-store"


def test_the_page_states_the_cautions_whatever_the_state_of_the_park(live):
    text = " ".join(live.http.get(f"/parks/{live.park}/board").text.split())
    for caution in (
        "Masks stay on inside the netting.",
        "Barrel covers on off the field.",
        "The referee on the field decides.",
        "Local law, the insurer's rules and licensed practice come first.",
        "In an emergency call the emergency services.",
    ):
        assert caution in text


def test_the_front_door_leads_to_the_only_parks_board(live):
    answer = live.http.get("/", follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/parks/{live.park}/board")


def test_a_reader_gets_the_status_then_a_beat_then_what_changes_within_a_second(live, day):
    with following(live.url, live.park) as events:
        assert events.answer.headers["content-type"].startswith("text/event-stream")
        assert events.answer.headers["cache-control"] == "no-store"
        assert next(events).name == "snapshot"
        assert next(events).name == "beat"
        assert min(_hold(live, day, events, f"h-stream-{number}") for number in range(3)) < 1
        assert events.status | {"as_of": None} == day.board() | {"as_of": None}


def _hold(live, day, events, hold):
    """A hold asked and lifted; the seconds until the first was told. Of a few the quickest counts: a busy machine delays one or another."""
    asked = time.monotonic()
    day.send("games/ask-hold", {"hold": hold, "field": "fern", "cause": "intruder"})
    event = events.until(lambda status: status["fields"]["fern"]["state"] == "hold asked")
    told = time.monotonic() - asked
    assert event.name == "patch"
    assert event.data["fields"].keys() == {"fern"}
    assert events.last.split(":")[:2] == ["1", str(live.head())]
    day.send("games/lift-hold", {"hold": hold, "field": "fern", "swept": True})
    events.until(lambda status: status["fields"]["fern"]["state"] == "open")
    return told


@pytest.mark.usefixtures("day")
def test_a_beat_comes_every_few_seconds_with_the_parks_time(live):
    with following(live.url, live.park) as events:
        first, second = events.named("beat"), events.named("beat")
    assert second.data["as_of"] > first.data["as_of"]
    assert first.data["position"] == live.head()


def test_a_reader_that_comes_back_gets_only_what_it_missed(live, day):
    day.board()
    with following(live.url, live.park) as events:
        next(events)
    before, last = events.status, events.last
    day.arrive("p-missed", 601)
    day.board()
    with following(live.url, live.park, last) as events:
        events.status = before
        assert next(events).name == "patch"
        events.until(lambda status: status["position"] == live.head())
        assert events.status["players"]["registered"] == before["players"]["registered"] + 1
        assert events.status["players"] == day.board()["players"]


@pytest.mark.parametrize("last", ["1:1:1", "7:7:7", "not an id", "x" * 3000])
@pytest.mark.usefixtures("day")
def test_a_reader_with_an_id_that_is_forgotten_gets_the_whole_status(live, last):
    with following(live.url, live.park, last) as events:
        assert next(events).name == "snapshot"


@pytest.mark.usefixtures("day")
def test_fifty_readers_that_come_and_hang_up_leave_nothing_behind(live):
    channel = board(live).channel
    wait_until(lambda: channel.readers == 0)
    with ExitStack() as connections:
        several = [connections.enter_context(following(live.url, live.park)) for _ in range(50)]
        for events in several:
            assert next(events).name == "snapshot"
        assert channel.readers == 50
    wait_until(lambda: channel.readers == 0)
    assert len(channel._moved._waiters) == 0
    for _ in range(50):
        with following(live.url, live.park):
            pass
    wait_until(lambda: channel.readers == 0)
    assert len(channel._moved._waiters) == 0


def test_a_burst_of_events_is_told_in_at_most_five_messages_a_second(live, day):
    with following(live.url, live.park) as events:
        next(events)
        began, messages = time.monotonic(), 0
        marker = day.marker(250)
        for number in range(60):
            readings = {
                "test": f"burst-{number}",
                "marker": marker,
                "chrono": "bench-1",
                "readings_fps": [250 + number],
            }
            day.send("velocity/test-marker", readings)
        for event in events:
            messages += event.name == "patch"
            if events.status["position"] == live.head():
                break
        assert messages <= 5 * (time.monotonic() - began) + 2
        assert "309 ft/s" in events.status["stations"]["chronograph"]["last"]["what"]


def lasting(status):
    """All but the moment, and the waits, which are some seconds old."""
    stations = {
        name: {what: one for what, one in station.items() if what not in {"wait", "helps"}}
        for name, station in status["stations"].items()
    }
    return {what: one for what, one in status.items() if what not in {"as_of", "plays"}} | {"stations": stations}


def test_the_board_that_followed_the_day_says_what_one_says_that_is_made_from_the_rows(live, day):
    """Players judged only when touched come to the same as everybody judged anew."""
    players = [day.arrive(f"q{number}", 700 + number) for number in range(3)]
    marker = day.clear(players[0])
    day.send("velocity/change-set-up", {"marker": marker, "change": "barrel"})
    day.send("registration/assign-rotation", {"rotation": "r1", "field": "fern", "players": players})
    day.call("g2", "fern", players[:2])
    day.send("discipline/caution", {"caution": "c-1", "violation": "wiping", "player": "p6"})
    day.send("incidents/record-unfit", {"player": "p5", "cause": "injured"})
    day.send("velocity/check-chrono", {"chrono": "bench-1", "good": False})
    day.call("g2", "fern", players[1:])
    day.send("park/record-weather", {"temperature_c": 31})
    followed = day.board()
    park = live.running.parks[live.park]
    anew = Board(park, live.running.pool, live.running.projectors[live.park])
    made = live.portal.call(anew.current)
    assert made.players.registered >= 9
    plain = msgspec.json.decode(msgspec.json.encode(made))
    assert lasting(followed) == lasting(plain)


@pytest.mark.usefixtures("day")
def test_a_board_that_cannot_read_the_log_withholds_its_beat(live, monkeypatch):
    with following(live.url, live.park) as events:
        events.named("beat")

        async def away():
            raise OSError("the database is away")

        monkeypatch.setattr(live.running.parks[live.park].log, "head", away)
        wait_until(lambda: board(live).beat().startswith(b":"), 12)
        assert (
            next(event for event in events if event.name == "" or event.comment).comment == "the record cannot be read"
        )
        monkeypatch.undo()
        assert events.named("beat").data["position"] == live.head()


@pytest.mark.usefixtures("day")
def test_a_board_that_cannot_be_made_is_said_where_one_asks_whether_the_park_is_ready(live, monkeypatch):
    def ready():
        return live.get("/ready").json()["parks"][live.park].get("board")

    assert ready() is None

    async def broken(*_):
        raise ValueError("no such moment")

    monkeypatch.setattr(board(live), "_make", broken)
    wait_until(lambda: "no such moment" in (ready() or ""), 12)
    assert live.get("/ready").status_code == 200, "what is told is recorded all the same"
    monkeypatch.undo()
    wait_until(lambda: ready() is None, 12)


def test_the_next_morning_begins_with_nobody_and_an_unopened_day(databases, nats_urls):
    clock = SetClock(datetime(2026, 5, 9, 14, 0, tzinfo=UTC))
    with serving(databases.create(), nats_urls, clock) as live:
        day = BoardDay(live)
        day.open("birch")
        day.arrive("p1", 1)
        assert (day.board()["day"], day.board()["players"]["registered"]) == ("2026-05-09", 1)
        clock.advance(timedelta(hours=13, minutes=59))
        wait_until(lambda: day.board()["as_of"].startswith("2026-05-10T03:59"))
        assert (day.board()["day"], day.board()["opened"]) == ("2026-05-09", True), "until four in the morning"
        clock.advance(timedelta(minutes=2))
        wait_until(lambda: day.board()["day"] == "2026-05-10")
        assert (day.board()["players"]["registered"], day.board()["opened"]) == (0, False)
        day.arrive("p2", 1)
        assert day.board()["players"]["registered"] == 1
