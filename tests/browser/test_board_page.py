"""The wall screen in a real browser, following a park that is really up."""

import itertools
import time

import pytest

from tests.browser.server import Server
from tests.integration.board_day import BoardDay
from tests.unit.test_fanout import RFC_7396

pytestmark = pytest.mark.timeout(180)
SIZES = {"wall": (1920, 1080), "small wall": (1280, 720), "tablet": (1024, 768), "phone": (390, 844)}
WITHIN = 30_000
"""Milliseconds in which what a test waits for must come about."""
parks = itertools.count(1)


@pytest.fixture(scope="module")
def server(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, f"wallmoor-{next(parks)}")
    yield server
    server.down()


@pytest.fixture(scope="module")
def day(server):
    """Birch and fern are open; six players lack nothing, one has only registered."""
    day = BoardDay(server.up())
    day.open("birch", "fern")
    day.players(6)
    day.arrive("late", 77)
    return day


class Wall:
    """The page as somebody across the yard reads it."""

    def __init__(self, page, day):
        self.page = page
        self.complaints = []
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.goto(f"{day.live.url}/")
        self.wait_live()

    def wait_live(self, within=WITHIN):
        self.page.wait_for_selector("body:not(.stale)", timeout=within)

    def wait_stale(self, within=WITHIN):
        self.page.wait_for_selector("body.stale", timeout=within)

    def field(self, name):
        return self.page.locator(f"field-card[data-field={name}]")

    def wait_state(self, field, state, within=WITHIN):
        self.page.wait_for_selector(f"field-card[data-field={field}][data-state='{state}']", timeout=within)

    def until(self, selector, true):
        """Wait until what is written there is so; returns it."""
        ends = time.monotonic() + WITHIN / 1000
        while not true(self.text(selector)):
            assert time.monotonic() < ends, self.text(selector)
            self.page.wait_for_timeout(50)
        return self.text(selector)

    def text(self, selector):
        return " ".join(self.page.locator(selector).inner_text().split())


@pytest.fixture
def wall(page, day):
    wall = Wall(page, day)
    yield wall
    assert wall.complaints == []


@pytest.fixture
def game(day):
    """Four players in a live game on birch, for one test."""
    name = day.name("game")
    day.start(name, "birch", ["p1", "p2", "p3", "p4"])
    yield name
    day.send("games/end-game", {"game": name})
    counted = 4 - len(OUT.pop(name, ()))
    day.send("games/count-heads", {"game": name, "counted": counted})


OUT: dict[str, list[str]] = {}
"""Who was recorded out of which game."""


def test_a_field_goes_through_its_states_on_the_wall_as_the_staff_record_them(wall, day):
    wall.wait_state("birch", "open")
    day.call("walk", "birch", ["p1", "p2", "late"])
    wall.wait_state("birch", "called")
    told = wall.field("birch").inner_text()
    assert "2 of 3 ready" in told
    assert "entry unpaid → desk red 77" in " ".join(told.split())
    assert "blue: 1 player red: 2 players" in " ".join(told.split())
    day.call("walk", "birch", ["p1", "p2"])
    wall.page.wait_for_selector("field-card[data-field=birch] .ready.all", timeout=WITHIN)
    day.send("games/brief-game", {"game": "walk"})
    wall.wait_state("birch", "briefed")
    day.send("games/start-game", {"game": "walk"})
    wall.wait_state("birch", "live")
    assert "LIVE" in wall.field("birch").inner_text()
    day.send("games/end-game", {"game": "walk"})
    wall.wait_state("birch", "counting")
    day.send("games/count-heads", {"game": "walk", "counted": 2})
    wall.wait_state("birch", "open")


def test_the_clock_runs_down_by_itself_and_teams_are_told_by_the_name_of_their_colour(wall, day, game):
    wall.wait_state("birch", "live")
    first = wall.text("field-card[data-field=birch] .time")
    wall.until("field-card[data-field=birch] .time", lambda told: told < first)
    assert first[:2] == "14" or first == "15:00"
    day.send("games/record-out", {"player": "p1", "field": "birch", "cause": "eliminated"})
    OUT[game] = ["p1"]
    teams = wall.until("field-card[data-field=birch] .teams", lambda told: "1 out" in told)
    assert teams == "blue 2 in 0 out red 1 in 1 out"


def test_a_hold_takes_the_whole_screen_within_a_second_and_says_asked_until_it_is_confirmed(wall, day, game):  # noqa: ARG001
    took = []
    for hold in ("drill-1", "drill-2", "storm"):  # of a few the quickest counts: a busy machine delays one or another
        wall.wait_state("birch", "live")
        wall.page.wait_for_selector("#hold", state="hidden", timeout=WITHIN)
        day.send("games/ask-hold", {"hold": hold, "cause": "weather"})
        asked = time.monotonic()
        wall.wait_state("birch", "hold asked")
        wall.page.wait_for_selector("body.on-hold #hold", timeout=WITHIN)
        took.append(time.monotonic() - asked)
        for field in ("birch", "fern") if hold != "storm" else ():
            day.send("games/lift-hold", {"hold": hold, "field": field, "swept": True})
    assert min(took) < 1
    assert wall.text("#hold").startswith("HOLD all fields, since")
    assert "not confirmed on Birch, Fern" in wall.text("#hold")
    assert wall.page.title().startswith("HOLD")
    frame = wall.page.evaluate("getComputedStyle(document.body, '::before').borderTopWidth")
    assert float(frame.removesuffix("px")) >= 20
    for field in ("birch", "fern"):
        day.send("games/confirm-hold", {"hold": "storm", "field": field})
        wall.wait_state(field, "held")
    assert "confirmed: stopped, covers on" in wall.text("#hold")
    stopped = wall.text("field-card[data-field=birch] .time")
    wall.page.wait_for_timeout(1500)
    assert wall.text("field-card[data-field=birch] .time") == stopped, "the clock stands still"
    for field in ("birch", "fern"):
        day.send("games/lift-hold", {"hold": "storm", "field": field, "swept": True})
    wall.wait_state("birch", "live")
    wall.page.wait_for_selector("#hold", state="hidden", timeout=WITHIN)


def test_an_alert_is_read_out_politely_and_names_an_armband(wall, day, game):  # noqa: ARG001
    wall.wait_state("birch", "live")
    day.send("discipline/caution", {"caution": "shove", "violation": "physical-contact", "player": "p4"})
    wall.page.wait_for_selector("#alerts p[data-kind=not_cleared_on_field]", timeout=WITHIN)
    assert wall.text("#alerts") == "Blue 4 on Birch is no longer cleared. Take off the field, to head referee."
    assert wall.page.get_attribute("#alerts", "aria-live") == "polite"
    day.send("discipline/void-caution", {"caution": "shove", "player": "p4", "cause": "wrong_player"})
    wall.page.wait_for_selector("#alerts", state="hidden", timeout=WITHIN)


def test_who_sits_out_is_counted_once_and_a_caution_about_nobody_yet_gives_its_id(wall, day, game):
    wall.wait_state("birch", "live")
    day.send("discipline/caution", {"caution": "out", "violation": "wiping", "player": "p6"})
    told = wall.until("#players", lambda told: "1sitting out" in told)
    assert told.count("sitting out") == 1
    body = {"caution": "who", "violation": "wiping", "game": game, "colour": "red", "armband": 3}
    day.send("discipline/caution", body)
    told = wall.until("#alerts", lambda told: "Caution who" in told)
    assert told == "Caution who: red 3 on Birch: staging says who it was."
    day.send("discipline/resolve-caution", {"caution": "who", "player": "p1"}, expect=422)
    for caution in ("who", "out"):
        day.send("discipline/void-caution", {"caution": caution, "cause": "entered_in_error"})
    wall.page.wait_for_selector("#alerts", state="hidden", timeout=WITHIN)


def test_the_cautions_are_on_the_screen_whatever_happens(wall):
    told = wall.text("footer")
    assert "Masks stay on inside the netting." in told
    assert "call the emergency services" in told


def test_every_field_can_be_reached_by_keyboard(wall):
    wall.page.keyboard.press("Tab")
    focus = "document.activeElement.dataset.field"
    first = wall.page.evaluate(focus)
    wall.page.keyboard.press("Tab")
    assert (first, wall.page.evaluate(focus)) == ("birch", "fern")


@pytest.mark.parametrize(("document", "patch", "result"), RFC_7396)
def test_the_page_applies_a_merge_patch_as_the_standard_says(wall, document, patch, result):
    merged = "async ([document, patch]) => (await import('./board/follow.js')).merge(document, patch)"
    assert wall.page.evaluate(merged, [document, patch]) == result


def test_a_board_that_hears_no_beat_says_that_it_is_stale_and_since_when(wall, day, monkeypatch):
    async def away():
        raise OSError("the database is away")

    monkeypatch.setattr(day.live.running.parks[day.live.park].log, "head", away)
    began = time.monotonic()
    wall.wait_stale(25_000)
    assert time.monotonic() - began > 8, "not at the first beat that is late"
    assert wall.text("#link").startswith("STALE — LAST HEARD ")
    assert float(wall.page.evaluate("getComputedStyle(document.querySelector('main')).opacity")) < 0.5
    monkeypatch.undo()
    wall.wait_live()
    assert wall.text("#link") == "Live"


@pytest.mark.parametrize("size", SIZES)
def test_nothing_is_scrolled_sideways_at_any_size_and_a_wall_not_at_all(wall, day, size):
    width, height = SIZES[size]
    wall.page.set_viewport_size({"width": width, "height": height})

    def overflow():
        return wall.page.evaluate(
            "[document.documentElement.scrollWidth - innerWidth, document.documentElement.scrollHeight - innerHeight]"
        )

    def fits():
        sideways, down = overflow()
        return sideways <= 0 and ("wall" not in size or down <= 0)

    assert fits(), overflow()
    day.send("games/ask-hold", {"hold": f"narrow-{size[:2]}", "cause": "fire"})
    wall.page.wait_for_selector("body.on-hold", timeout=WITHIN)
    assert fits(), overflow()
    for field in ("birch", "fern"):
        day.send("games/lift-hold", {"hold": f"narrow-{size[:2]}", "field": field, "swept": True})
    wall.page.wait_for_selector("body:not(.on-hold)", timeout=WITHIN)


def test_it_goes_stale_when_the_server_dies_and_catches_up_when_it_comes_back(page, day, server):
    wall = Wall(page, day)
    asked_behind = []
    page.on(
        "request",
        lambda request: asked_behind.append(request) if "stream" in request.url else None,
    )
    server.down()
    wall.wait_stale()
    assert wall.text("#link").startswith("STALE — LAST HEARD ")
    back = BoardDay(server.up())
    back.send("games/inspect-field", {"field": "fern", "passed": False})
    wall.wait_state("fern", "closed", within=20_000)
    wall.wait_live()
    assert "This field did not pass its inspection." in wall.field("fern").inner_text()
    ids = [request.all_headers().get("last-event-id") for request in asked_behind]
    assert any(last and last.startswith("1:") for last in ids), ids
