"""The handheld's page in a real browser: a referee on the field, by touches alone, in the sun, under a wet glove, with a network that comes and goes."""

import itertools
import json
import os
import re
import time
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.server import Server
from tests.browser.test_bench_page import LOOK, contrast
from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(300)
PHONE, TABLET = (390, 844), (800, 1280)
WITHIN = 8_000
"""Milliseconds in which what a test waits for must come about."""
SHOTS = os.environ.get("HANDHELD_SHOTS", "")
"""A folder for pictures of the page, for whoever wants to look."""
numbers = itertools.count(1)
armbands = itertools.count(11)


@pytest.fixture(scope="module")
def server(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, f"rainmoor-{next(numbers)}")
    yield server
    server.down()


@pytest.fixture(scope="module")
def day(server):
    day = BoardDay(server.up())
    day.open("spare")
    return day


@pytest.fixture
def pages(browser):
    """A handheld each: pages that share nothing."""
    contexts = []

    def make(size=PHONE):
        contexts.append(browser.new_context(viewport={"width": size[0], "height": size[1]}, has_touch=True))
        return contexts[-1].new_page()

    yield make
    for context in contexts:
        context.close()


class Handheld:
    """One referee's device on one field; every touch is counted."""

    def __init__(self, page, day, field, *, roles=("referee",)):
        self.page, self.day, self.field, self.touches = page, day, field, 0
        self.complaints = []
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.name = day.name("handheld")
        self.key = day.live.enrol(self.name, *roles)
        page.goto(f"{day.live.url}/parks/{day.live.park}/games/handheld?field={field}")
        page.fill("#key", self.key)
        page.keyboard.press("Enter")
        page.wait_for_selector("#game:not([hidden])")
        self.says("#link", "● live")

    def touch(self, *selectors):
        for selector in selectors:
            self.page.locator(selector).first.tap(timeout=WITHIN)
            self.touches += 1

    def taking(self, touches, *selectors):
        """These touches, and no more."""
        before = self.touches
        self.touch(*selectors)
        assert self.touches - before == touches

    def type(self, text):
        self.page.fill("#typed", text)

    def state(self, state):
        self.page.wait_for_selector(f"body[data-state='{state}']", timeout=WITHIN)

    def says(self, selector, words):
        expect(self.page.locator(selector)).to_contain_text(words, timeout=WITHIN)

    def settled(self):
        """A touch counts again."""
        self.page.wait_for_selector("body:not(.settling)")

    def sent(self):
        self.page.wait_for_selector("body:not(.unsent)", timeout=WITHIN)

    def picture(self, name):
        if SHOTS:
            self.page.wait_for_timeout(500)
            self.page.screenshot(path=Path(SHOTS) / f"{name}.png")

    def events(self):
        """What this device recorded, in the order of the log: each event's own bytes."""
        live = self.day.live
        rows = live.portal.call(live.running.parks[live.park].log.between, 1, live.head())
        told = [json.loads(row.leaf.split(b"\n", 5)[5]) for row in rows]
        return [one for one in told if one["device"] == self.name]

    def types(self):
        return [one["type"].partition(".")[2] for one in self.events()]


def person(number):
    return f"#sheet [data-player=p{number}]"


def act(name):
    return f"[data-act={name}]"


def chosen(value):
    return f"#sheet [data-choice='{value}']"


class Game:
    """A field of its own with some players who are ready, red and blue in turn."""

    def __init__(self, day, players=4, **more):
        self.day, self.field, self.game = day, day.name("field"), day.name("game")
        day.field(self.field)
        self.armbands = [next(armbands) for _ in range(players)]
        for number in self.armbands:
            day.arrive(f"p{number}", number)
            self.marker = day.clear(f"p{number}")
        self.players = [f"p{number}" for number in self.armbands]
        day.call(self.game, self.field, self.players, **more)

    def live(self):
        self.day.send("games/brief-game", {"game": self.game})
        self.day.send("games/start-game", {"game": self.game})
        return self


@pytest.fixture
def game(day):
    return Game(day)


@pytest.fixture
def handheld(pages, day, game):
    made = Handheld(pages(), day, game.field)
    yield made
    assert made.complaints == []


@pytest.fixture
def live(pages, day, game):
    made = Handheld(pages(), day, game.live().field)
    made.state("live")
    yield made
    assert made.complaints == []


def test_a_game_from_the_call_to_the_count_by_touches_alone(handheld, game):
    first, second, third, fourth = game.armbands
    handheld.state("called")
    handheld.picture("01-called")
    handheld.taking(1, act("brief"))
    handheld.state("briefed")
    handheld.sent()
    handheld.taking(1, act("start"))
    handheld.state("live")
    handheld.says("#about", "2 blue")
    handheld.picture("02-live")
    handheld.taking(2, act("out"), person(first))
    handheld.taking(2, act("walk"), person(second))
    handheld.taking(3, act("caution"), "[data-violation=wiping]", person(third))
    handheld.taking(3, act("paint"), person(fourth), chosen("clean"))
    handheld.touch(act("spot"), person(fourth))
    handheld.type("262.5")
    handheld.touch("#sheet form button")
    handheld.taking(1, "#stop")
    handheld.state("hold asked")
    handheld.picture("03-stopped")
    handheld.taking(1, act("confirm"))
    handheld.state("held")
    handheld.taking(2, act("resume"), chosen("yes"))
    handheld.state("live")
    handheld.taking(1, "[data-stop=gate]")
    handheld.says("#told", "First aid called to the gate")
    handheld.taking(1, act("came"))
    handheld.taking(2, act("end"), chosen("red"))
    handheld.state("counting")
    handheld.touch(act("count"))
    handheld.type("2")
    handheld.picture("04-count")
    handheld.touch("#sheet form button")
    handheld.sent()
    handheld.state("open")
    handheld.picture("05-open")
    assert handheld.types() == [
        "game_briefed", "game_started", "player_out", "player_out", "caution_recorded", "paint_checked", "marker_spot_checked",
        "hold_asked", "hold_confirmed", "hold_lifted", "first_aid_called", "first_aid_answered", "game_ended", "heads_counted",
    ]  # fmt: skip
    causes = [one["data"]["cause"] for one in handheld.events() if one["type"] == "games.player_out"]
    assert causes == ["eliminated", "walked_off"]
    (ended,) = (one["data"] for one in handheld.events() if one["type"] == "games.game_ended")
    assert ended["winner"] == "red"


def test_each_touch_bears_the_devices_own_dense_number_and_its_own_time(live, game):
    live.touch(act("out"), person(game.armbands[0]))
    live.touch("#stop")
    live.sent()
    rows = live.events()
    assert [one["device_seq"] for one in rows] == list(range(1, len(rows) + 1))
    assert len(rows) == 2
    times = [one["occurred_at"] for one in rows]
    assert times == sorted(times)
    assert all(one["claimed_at"] for one in rows)


@pytest.mark.parametrize(
    ("touches", "withdrawal"),
    [
        (["[data-act=out]", 0], "out_voided"),
        (["[data-act=walk]", 0], "out_voided"),
        (["[data-act=caution]", "[data-violation=wiping]", 0], "caution_voided"),
        (["[data-act=paint]", 0, "#sheet [data-choice=hit]"], "paint_check_voided"),
        (["[data-stop=aid]"], "first_aid_answered"),
    ],
)
def test_a_mistake_is_withdrawn_in_one_touch_by_whoever_made_it(live, game, touches, withdrawal):
    live.touch(*(person(game.armbands[0]) if one == 0 else one for one in touches))
    live.sent()
    live.taking(1, "#undo")
    live.says("#touches", "Undone")
    live.sent()
    assert live.types()[-1] == withdrawal
    assert len(live.types()) == 2
    expect(live.page.locator("#undo")).to_be_disabled(timeout=WITHIN)


def test_a_spot_check_is_withdrawn_in_one_touch(live, game):
    live.touch(act("spot"), person(game.armbands[0]))
    live.type("262.5")
    live.touch("#sheet form button")
    live.sent()
    live.taking(1, "#undo")
    live.sent()
    assert [one["type"] for one in live.events()] == [
        "velocity.marker_spot_checked",
        "velocity.spot_check_voided",
    ]


def test_whoever_was_out_by_mistake_is_counted_again(live, game):
    live.touch(act("out"), person(game.armbands[0]))
    live.touch("#undo")
    live.touch(act("end"), chosen(""))
    live.state("counting")
    live.touch(act("count"))
    live.type("3")
    live.touch("#sheet form button")
    live.says("#told", "1 missing, among:")
    live.touch(act("found"), person(game.armbands[0]), chosen("staging"))
    live.says("#told", "among")
    assert f"{game.armbands[0]}" not in live.page.inner_text("#told")


def test_stop_is_not_unsaid(live):
    live.touch("#stop")
    live.state("hold asked")
    live.sent()
    expect(live.page.locator("#undo")).to_be_disabled()
    assert live.types() == ["hold_asked"]


def test_a_start_names_every_offender_at_once_and_goes_on_without_them_in_one_touch(pages, day):
    game = Game(day, players=3)
    offenders = [f"p{next(armbands)}" for _ in range(2)]
    for name in offenders:
        day.arrive(name, int(name[1:]))
    day.call(game.game, game.field, [*game.players, *offenders])
    handheld = Handheld(pages(), day, game.field)
    handheld.touch(act("brief"))
    handheld.sent()
    handheld.touch(act("start"))
    handheld.says("#sheet", "Nobody was admitted")
    for name in offenders:
        handheld.says("#sheet", name[1:])
    handheld.says("#sheet", "Your entry is not paid.")
    handheld.says("#sheet", "You have not signed the waiver.")
    handheld.picture("06-offenders")
    assert handheld.page.get_attribute("body", "data-state") == "briefed"
    handheld.taking(1, chosen("without"))
    handheld.state("live")
    started = handheld.events()[-1]["data"]
    assert [one["player"] for one in started["entrants"]] == game.players
    assert [one["player"] for one in started["left_out"]] == offenders
    assert handheld.complaints == []


def test_what_is_touched_offline_is_kept_and_recorded_once_in_order_after_a_reload_too(live, game):
    live.page.wait_for_function("navigator.serviceWorker.controller")
    live.page.context.set_offline(True)
    live.touch(act("out"), person(game.armbands[0]))
    live.page.wait_for_selector("body.stale", timeout=WITHIN)
    live.touch(act("walk"), person(game.armbands[1]))
    live.touch("#stop")
    live.state("hold asked")
    live.says("#link", "NOT CONNECTED")
    live.says("#link", "3 not sent yet")
    live.says("#link", "STOP IS NOT SENT: call it out")
    live.picture("07-offline")
    live.page.reload()
    live.state("hold asked")
    live.says("#link", "3 not sent yet")
    live.touch("#undo")
    live.touch(act("confirm"))
    live.page.context.set_offline(False)
    live.sent()
    live.page.wait_for_selector("body:not(.stale)", timeout=WITHIN)
    live.state("held")
    assert live.types() == ["player_out", "player_out", "hold_asked", "out_voided", "hold_confirmed"]
    outs = [one["data"]["player"] for one in live.events() if one["type"] == "games.player_out"]
    assert outs == [f"p{number}" for number in game.armbands[:2]]
    times = [one["occurred_at"] for one in live.events()]
    assert times == sorted(times)


FILL = "for (let size = 2 ** 22; size >= 1; size /= 2) for (let more = true; more; ) try { localStorage.setItem('full', (localStorage.getItem('full') ?? '') + 'x'.repeat(size)); } catch { more = false; }"
"""Leaves the device no room to keep anything."""


def test_on_a_device_that_has_no_room_left_every_touch_is_shown_sent_and_can_be_undone(live, game):
    live.page.evaluate(FILL)
    live.page.context.set_offline(True)
    live.touch(act("out"), person(game.armbands[0]))
    live.touch("#stop")
    live.says("#link", "2 not sent yet")
    live.says("#link", "leave the page open")
    live.page.context.set_offline(False)
    live.sent()
    live.state("hold asked")
    live.touch("#undo")
    live.sent()
    assert live.types() == ["player_out", "hold_asked", "out_voided"]
    sequence = [one["device_seq"] for one in live.events()]
    assert sequence == sorted(set(sequence))


def test_on_a_device_that_has_no_room_left_the_page_still_shows_what_others_do(live, pages, game):
    live.page.evaluate(FILL)
    other = Handheld(pages(), live.day, game.field)
    other.touch("#stop")
    live.state("hold asked")


def kept_until_signed(page):
    """How many facts the device keeps that the park has recorded."""
    return page.evaluate(
        "JSON.parse(localStorage[Object.keys(localStorage).find((name) => name.includes('handheld sent'))] ?? '[]').length"
    )


def until(page, true):
    deadline = time.monotonic() + WITHIN / 1000
    while not true() and time.monotonic() < deadline:
        page.wait_for_timeout(50)
    assert true()


def test_what_was_recorded_is_kept_until_it_lies_under_a_checkpoint(live, game):
    live.touch(act("out"), person(game.armbands[0]))
    live.sent()
    assert kept_until_signed(live.page) == 1
    assert live.day.live.post("evidence/checkpoint", {}).status_code == 200
    live.page.reload()
    until(live.page, lambda: kept_until_signed(live.page) == 0)


def test_what_was_recorded_is_sent_again_once_the_log_has_begun_another_life_which_may_lack_it(live, game):
    sent = []
    live.page.on("request", lambda one: sent.append(one.headers["idempotency-key"]) if one.method == "POST" else None)
    live.touch(act("out"), person(game.armbands[0]))
    live.touch(act("out"), person(game.armbands[1]))
    live.sent()
    first = list(sent)

    def restored(route):
        answer = route.fetch(url=route.request.url.replace("after=2%3A", "after=1%3A"))
        route.fulfill(response=answer, json=answer.json() | {"epoch": 2})

    live.page.route("**/games/handheld/*", restored)
    for _ in range(2):  # the first answers what was asked before the restore, the second what is asked after it
        with live.page.expect_response("**/games/handheld/*"):
            body = {"hold": live.day.name("hold"), "field": game.field, "cause": "injury"}
            live.day.live.post("games/ask-hold", body)
    until(live.page, lambda: len(sent) == 4)
    live.sent()
    assert sent == first * 2
    live.page.wait_for_timeout(500)
    assert len(sent) == 4
    assert live.types() == ["player_out", "player_out"]
    assert kept_until_signed(live.page) == 2
    live.page.unroute_all(behavior="ignoreErrors")


def test_of_two_tabs_of_one_device_neither_loses_what_the_other_keeps(live, game):
    deaf = "addEventListener('storage', (event) => event.stopImmediatePropagation(), true)"
    live.page.context.add_init_script(deaf)  # the news of what another tab keeps comes late, or not at all
    live.page.reload()
    other = live.page.context.new_page()
    other.goto(live.page.url)
    for tab in (live.page, other):
        tab.wait_for_selector("body:not(.stale)", timeout=WITHIN)
    live.page.context.set_offline(True)
    tabs = [live.page, other] * 2
    for tab, number in zip(tabs, game.armbands, strict=True):
        live.page = tab
        live.touch(act("out"), person(number))
    live.page.context.set_offline(False)
    live.sent()
    outs = [one["data"]["player"] for one in live.events()]
    assert outs == [f"p{number}" for number in game.armbands]


def test_first_aid_and_stop_are_for_this_field_before_the_park_has_ever_answered(live, game):
    live.page.route("**/games/handheld/*", lambda route: route.abort())
    live.page.evaluate(
        "for (const name of Object.keys(localStorage)) if (name.includes('view')) localStorage.removeItem(name)"
    )
    live.page.reload()
    live.page.wait_for_selector("#stops:not([hidden])")
    expect(live.page.locator("[data-act]:visible")).to_have_count(0)
    live.touch("[data-stop=aid]")
    live.touch("#stop")
    live.sent()
    live.page.unroute("**/games/handheld/*")
    assert [one["data"].get("field") or one["data"]["fields"] for one in live.events()] == [game.field, [game.field]]


def test_an_answer_that_was_lost_on_its_way_back_does_not_make_two_events(live, game):
    lost = []

    def lose_once(route):
        if lost:
            route.continue_()
            return
        lost.append(route.fetch())
        route.abort()

    live.page.route("**/games/record-out", lose_once)
    live.touch(act("out"), person(game.armbands[0]))
    live.says("#touches", "recorded")
    live.sent()
    assert live.types() == ["player_out"]


@pytest.mark.parametrize("what", ["#stop", "[data-stop=aid]"])
def test_a_double_touch_is_one_event(live, what):
    live.page.locator(what).dblclick()
    live.sent()
    assert len(live.types()) == 1


def test_the_second_tap_of_a_double_tap_does_not_fall_on_what_appears_beneath(live, game):
    live.touch(act("out"))
    live.settled()
    box = live.page.locator(person(game.armbands[0])).bounding_box()
    for _ in range(2):
        live.page.touchscreen.tap(box["x"] + 10, box["y"] + 10)
    live.sent()
    live.page.wait_for_timeout(600)
    assert live.types() == ["player_out"]
    expect(live.page.locator("#sheet")).to_be_hidden()


def test_two_handhelds_on_one_field_agree(live, pages, game):
    other = Handheld(pages(), live.day, game.field)
    live.touch(act("out"), person(game.armbands[0]))
    other.touch(act("out"), person(game.armbands[1]))
    live.touch("#stop")
    other.state("hold asked")
    other.touch(act("confirm"))
    live.state("held")
    live.sent()
    other.sent()
    told = [one.page.inner_text("#told") for one in (live, other)]
    assert told[0] == told[1]
    live.touch(act("resume"), chosen("yes"))
    other.state("live")
    for one in (live, other):
        one.touch(act("out"))
        expect(one.page.locator("#sheet .off")).to_have_count(2, timeout=WITHIN)
    clocks = [seconds(one.page) for one in (live, other)]
    assert abs(clocks[0] - clocks[1]) <= 1


def seconds(page):
    minutes, rest = page.locator("#clock").text_content().split(":")
    return int(minutes) * 60 + int(rest)


def test_a_stop_is_on_the_other_handheld_and_on_the_wall_within_a_second(live, pages, browser, game):
    """Within a second: an operator's demand, no source."""
    other = Handheld(pages(), live.day, game.field)
    wall = browser.new_context(viewport={"width": 1920, "height": 1080}).new_page()
    wall.goto(f"{live.day.live.url}/parks/{live.day.live.park}/board")
    wall.wait_for_selector(f"field-card[data-field={game.field}]")
    expect(wall.locator("#link")).to_have_text("Live", timeout=WITHIN)
    watch = "(seen) => new Promise((done) => { const look = () => (seen() ? done(Date.now()) : requestAnimationFrame(look)); look(); })"
    for page, seen in (
        (other.page, "document.body.dataset.state === 'hold asked'"),
        (
            wall,
            f"document.querySelector('field-card[data-field={game.field}]').innerText.toLowerCase().includes('hold')",
        ),
    ):
        page.evaluate(f"() => {{ window.seen = ({watch})(() => {seen}); }}")
    stopped = live.page.evaluate("() => { document.getElementById('stop').click(); return Date.now(); }")
    handheld, board = (page.evaluate("() => window.seen") - stopped for page in (other.page, wall))
    assert max(handheld, board) < 1000, f"on the other handheld after {handheld} ms, on the wall after {board} ms"
    wall.context.close()


def test_the_clock_goes_on_from_what_happened_through_a_stop_of_the_server_and_a_reload(live, server):
    live.touch("#stop")
    live.sent()
    live.state("hold asked")
    stopped = seconds(live.page)
    server.down()
    live.page.wait_for_selector("body.stale", timeout=WITHIN * 3)
    time.sleep(2)
    assert seconds(live.page) == stopped, "a stopped clock stands still"
    live.touch(act("confirm"))
    live.touch(act("resume"), chosen("yes"))
    live.state("live")
    until(live.page, lambda: seconds(live.page) < stopped)
    assert stopped - 5 <= seconds(live.page)
    live.day.live = server.up()
    live.sent()
    live.page.wait_for_selector("body:not(.stale)", timeout=WITHIN)
    live.page.reload()
    live.state("live")
    field = live.day.board()["fields"][live.field]["clock"]
    shown = seconds(live.page)
    now = live.page.evaluate("Date.now()") / 1000
    rest = live.page.evaluate(f"Date.parse('{field['deadline']}') / 1000") - now
    assert abs(rest - shown) <= 1.5
    assert live.types() == ["hold_asked", "hold_confirmed", "hold_lifted"]


def test_by_keyboard_alone(live, game):
    press = live.page.keyboard.press
    press("o")
    live.says("#sheet-title", "Who is off the field?")
    for digit in str(game.armbands[0]):
        press(digit)
    press("Enter")
    live.says("#touches", f"{game.armbands[0]} out")
    live.sent()
    press("s")
    live.state("hold asked")
    live.settled()
    press("v")
    live.state("held")
    press("u")
    live.says("#touches", "Undone")
    live.sent()
    assert live.types() == ["player_out", "hold_asked", "hold_confirmed", "out_voided"]
    live.settled()
    press("c")
    live.says("#sheet-title", "Caution")
    press("Escape")
    expect(live.page.locator("#sheet")).to_be_hidden()


def test_stop_is_in_reach_beneath_every_sheet(live):
    for name in ("out", "caution", "paint", "spot", "swap", "end", "abandon"):
        live.touch(act(name))
        box = live.page.locator("#stop").bounding_box()
        assert box["y"] + box["height"] <= PHONE[1]
        covered = live.page.evaluate(
            "([x, y]) => document.elementFromPoint(x, y).closest('#stop') === null", [box["x"] + 20, box["y"] + 20]
        )
        assert not covered
        live.touch("#back")


def test_a_marker_is_swapped_in_two_touches_and_a_scan_and_back_again_in_one(live, game, day):
    other = day.marker(268)
    live.touch(act("swap"))
    live.type(other)
    live.touch(person(game.armbands[-1]))
    live.sent()
    live.says("#touches", f"for {other}")
    live.touch("#undo")
    live.sent()
    swaps = [one["data"] for one in live.events() if one["type"] == "equipment.marker_swapped"]
    assert [(one["returned"], one["marker"]) for one in swaps[-2:]] == [(game.marker, other), (other, game.marker)]


def test_a_caution_about_a_number_on_no_list_takes_the_number_and_the_colour(live):
    live.touch(act("caution"), "[data-violation=abuse]")
    live.type("4321")
    live.touch("#sheet .choices [data-choice=blue]")
    live.sent()
    caution = [one["data"] for one in live.events() if one["type"] == "discipline.caution_recorded"][-1]
    assert (caution["player"], caution["colour"], caution["armband"]) == (None, "blue", 4321)


def test_what_is_typed_wrong_is_said_on_the_sheet_and_nothing_of_it_is_recorded(live, game):
    live.touch(act("spot"), person(game.armbands[0]))
    for typed, words in (("", "no speed"), ("abc", "no speed"), ("-3", "no speed"), ("9999", "No shot is as fast")):
        live.type(typed)
        live.touch("#sheet .typing button")
        live.says("#sheet-hint", words)
    live.touch("#back", act("caution"), "[data-violation=abuse]")
    for typed in ("", "1e3", "0"):
        live.type(typed)
        live.touch("#sheet .choices [data-choice=blue]")
        live.says("#sheet-hint", "Type the armband's number first")
    live.touch("#back", act("end"), chosen("blue"), act("count"))
    for typed in ("", "ten"):
        live.type(typed)
        live.touch("#sheet .typing button")
        live.says("#sheet-hint", "Type how many heads you counted")
    live.type("0")
    live.touch("#sheet .typing button")
    live.sent()
    assert live.types() == ["game_ended", "heads_counted"]


def test_in_a_respawn_game_whoever_is_off_comes_back_through_the_gate_and_in_an_elimination_game_nobody_does(
    pages, day, live
):
    expect(live.page.locator(act("letin"))).to_be_hidden()
    game = Game(day, format="respawn").live()
    handheld = Handheld(pages(), day, game.field)
    handheld.state("live")
    handheld.touch(act("out"), person(game.armbands[0]))
    handheld.sent()
    handheld.touch(act("letin"))
    expect(handheld.page.locator("#sheet [data-player]")).to_have_count(1)
    handheld.touch(person(game.armbands[0]))
    expect(handheld.page.locator("#sheet")).to_be_hidden(timeout=WITHIN)
    assert handheld.types() == ["player_out", "player_admitted"]
    handheld.touch(act("letin"))
    handheld.type(str(game.armbands[1]))
    handheld.touch(chosen("red"))
    handheld.says("#sheet-hint", "Not let in. You are recorded as being on a field")
    assert handheld.complaints == []


def test_nobody_is_let_onto_a_field_while_the_park_cannot_be_reached(handheld):
    handheld.touch(act("brief"))
    handheld.sent()
    handheld.page.context.set_offline(True)
    handheld.touch(act("start"))
    handheld.says("#problem", "nobody is known to be admitted")
    handheld.page.context.set_offline(False)
    handheld.page.wait_for_selector("body:not(.stale)", timeout=WITHIN)
    handheld.page.wait_for_timeout(1000)
    assert handheld.types() == ["game_briefed"], "nothing of it was kept to be sent later"


@pytest.mark.parametrize("size", [PHONE, TABLET])
def test_whatever_is_touched_is_at_least_60_pixels_and_nothing_hangs_over_the_edge(pages, day, size):
    """60 CSS pixels: an operator's demand for gloves, no source."""
    game = Game(day, players=12).live()
    handheld = Handheld(pages(size), day, game.field)
    handheld.state("live")
    small = """() => [...document.querySelectorAll('button, input, a')].filter((one) => {
        const box = one.getBoundingClientRect();
        return box.width && (box.height < 59.5 || box.width < 59.5); }).map((one) => one.outerHTML)"""
    wide = "document.documentElement.scrollWidth <= innerWidth"
    kind = "phone" if size == PHONE else "tablet"
    handheld.picture(f"10-{kind}-live")
    assert (handheld.page.evaluate(small), handheld.page.evaluate(wide)) == ([], True)
    for name in ("out", "caution", "spot", "swap", "end", "abandon"):
        handheld.touch(act(name))
        handheld.picture(f"11-{kind}-{name}")
        assert (handheld.page.evaluate(small), handheld.page.evaluate(wide)) == ([], True)
        handheld.touch("#back")
    handheld.touch(act("caution"), "[data-violation=wiping]")
    handheld.picture(f"11-{kind}-whom")
    assert (handheld.page.evaluate(small), handheld.page.evaluate(wide)) == ([], True)


def test_a_phone_on_its_side_shows_the_game_and_every_sheet_beside_stop(live, game):
    live.page.set_viewport_size({"width": PHONE[1], "height": PHONE[0]})
    stop = live.page.locator("#stop").bounding_box()
    for name in ("out", "caution"):
        live.touch(act(name))
        for part in ("#back", "#sheet-body"):
            box = live.page.locator(part).bounding_box()
            assert box["x"] + box["width"] <= stop["x"]
            assert box["y"] + box["height"] <= PHONE[0]
        assert box["height"] > 120
        live.touch("#back")
    assert live.page.locator("#now").bounding_box()["height"] > 60
    live.touch(act("out"), person(game.armbands[0]))
    live.touch("#stop")
    live.state("hold asked")


def test_every_word_stands_out_at_seven_to_one_in_every_state(live, game):
    def faint():
        seen = ((words, round(contrast(ink, ground), 2)) for words, ink, ground in live.page.evaluate(LOOK))
        return [one for one in seen if one[1] < 7]

    assert faint() == []
    live.touch(act("out"))
    assert faint() == []
    live.touch(person(game.armbands[0]))
    live.touch("#stop")
    live.sent()
    assert faint() == []
    live.page.context.set_offline(True)
    live.touch("[data-stop=aid]")
    live.page.wait_for_selector("body.stale", timeout=WITHIN)
    assert faint() == []


def test_it_sets_no_targets(live, game):
    """No number of outs by referee or by team, and nobody to chase."""
    live.touch(act("out"), person(game.armbands[0]))
    live.sent()
    words = live.page.inner_text("main").lower()
    assert not re.search(r"(?<!red )(?<!blue )\b\d+ outs?\b", words), "each out by itself, and no number of them"
    assert "elimination ·" in words, "the format is told, no number of them"
    assert "eliminations" not in words
    assert live.page.locator("main [data-player]").count() == 0


def test_the_usual_cautions_stand_on_the_page(live):
    told = live.page.inner_text("footer")
    for words in ("Masks on", "until outside the netting", "emergency services first"):
        assert words in told


def test_a_wrong_key_is_told_in_a_sentence_and_what_was_touched_stays_on_the_device(live, game):
    live.page.context.set_offline(True)
    live.touch(act("out"), person(game.armbands[0]))
    live.page.evaluate("localStorage.setItem('fieldledger key', 'nobody.nothing')")
    live.page.context.set_offline(False)
    live.page.reload()
    live.says("#problem", "Copy it whole")
    live.page.fill("#key", live.key)
    live.page.keyboard.press("Enter")
    live.page.wait_for_selector("#game:not([hidden])")
    live.sent()
    assert live.types() == ["player_out"]


def test_a_key_that_opens_nothing_any_more_says_how_much_is_not_sent_and_loses_none_of_it(live, game):
    live.page.route(
        "**/games/record-out",
        lambda route: route.fulfill(status=401, json={"type": "/problems/not-authenticated", "detail": "No."}),
    )
    live.touch(act("out"), person(game.armbands[0]))
    live.says("#problem", f"1 recorded on {live.name} not sent: kept here")
    live.page.unroute("**/games/record-out")
    live.page.fill("#key", live.key)
    live.page.keyboard.press("Enter")
    live.page.wait_for_selector("#game:not([hidden])")
    live.sent()
    assert live.types() == ["player_out"]


def test_without_a_field_in_the_address_it_asks_which_one(pages, day, game):
    page = pages()
    page.goto(f"{day.live.url}/parks/{day.live.park}/games/handheld")
    page.fill("#key", day.live.enrol(day.name("handheld"), "referee"))
    page.keyboard.press("Enter")
    page.get_by_role("link", name=game.field.title(), exact=True).click()
    page.wait_for_selector("body[data-state=called]", timeout=WITHIN)
