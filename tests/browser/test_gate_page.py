"""A field's gate in a real browser: a scanner, a hand in a glove, and a network that goes in the middle and comes back."""

import itertools
import os
import re
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.keys import Keys
from tests.browser.server import Server
from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(300)
WITHIN = 12_000
"""Milliseconds in which what a test waits for must come about."""
SHOTS = os.environ.get("GATE_SHOTS", "")
"""A folder for pictures of the page, for whoever wants to look."""
KEPT = """async () => {
  const keys = (await caches.keys()).filter((key) => key.startsWith("gate list"));
  const found = await Promise.all(keys.map(async (key) => (await caches.open(key)).match("list")));
  return Promise.all(found.filter(Boolean).map((list) => list.json()));
}"""
LATER = "minutes => { const real = Date.now; Date.now = () => real() + minutes * 60000; }"
parks, armbands = itertools.count(1), itertools.count(21)
BEHIND_A_REPLACEMENT = "pass-newer"


@pytest.fixture(scope="module")
def server(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, f"gatemoor-{next(parks)}")
    yield server
    server.down()


@pytest.fixture(scope="module")
def day(server):
    day = BoardDay(server.up())
    day.open("spare")
    return day


class Gate:
    """One gate's device, and a field on which a game is played that players join."""

    def __init__(self, page, day, *, format_="respawn"):
        self.page, self.day = page, day
        self.complaints = []
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.field, self.game = day.name("field"), day.name("game")
        day.field(self.field)
        day.start(self.game, self.field, [self.ready(), self.ready()], format=format_)
        self.name = day.name("gate")
        self.key = day.live.enrol(self.name, "staging")
        self.keys = Keys(page)
        page.goto(f"{day.live.url}/parks/{day.live.park}/games/gate-station?field={self.field}")
        page.fill("#key", self.key)
        page.keyboard.press("Enter")
        self.says("#link", "● live")
        expect(page.locator("#said")).to_be_focused()

    def ready(self):
        number = next(armbands)
        self.day.arrive(f"p{number}", number)
        self.day.clear(f"p{number}")
        return f"p{number}"

    def text(self, player, day=None, code=None):
        """What a scanner reads off a player's pass."""
        ring = self.day.live.running.app.state.passes[self.day.live.park]
        return ring.text(code or f"pass-{player}", day or self.day.today)

    def scan(self, code):
        self.keys.scan(code)

    def says(self, selector, words):
        expect(self.page.locator(selector)).to_contain_text(words, timeout=WITHIN)

    def answers(self, answer, *words):
        expect(self.page.locator("#answer")).to_have_attribute("data-answer", answer, timeout=WITHIN)
        for one in words:
            self.says("#answer", one)

    def knows(self, player):
        """Wait until the list on the device has him as the park has."""
        head, deadline = self.day.live.head(), time.monotonic() + 20
        while not any(
            kept["position"] >= head and any(one["player"] == player for one in kept["players"])
            for kept in self.page.evaluate(KEPT)
        ):
            assert time.monotonic() < deadline, f"The gate never heard of {player}."
            self.page.wait_for_timeout(50)

    def asks(self):
        """Asks for its list at once, as when the network came back."""
        self.page.evaluate("dispatchEvent(new Event('online'))")

    def cut(self):
        self.page.context.set_offline(True)
        self.says("#link", "NOT CONNECTED")

    def back(self):
        self.page.context.set_offline(False)
        self.says("#link", "● live")

    def let_in(self):
        self.page.wait_for_selector("body:not(.settling)")
        expect(self.page.locator("#let-in")).to_be_visible()
        self.keys.type("", "Tab")
        self.page.focus("#let-in")
        self.page.keyboard.press("Enter")
        expect(self.page.locator("#said")).to_be_focused()

    def picture(self, name):
        if SHOTS:
            self.page.wait_for_timeout(700)
            self.page.screenshot(path=Path(SHOTS) / f"{name}.png")

    def entries(self):
        live = self.day.live
        rows = live.portal.call(live.running.parks[live.park].log.between, 1, live.head())
        told = [
            re.search(
                rb'"type":"(games\.(?:entry_recorded|player_admitted))".*?"player":"([^"]+)"', row.leaf, re.DOTALL
            )
            for row in rows
        ]
        return [(one[1].decode(), one[2].decode()) for one in told if one]


@pytest.fixture
def gate(browser, day):
    context = browser.new_context(viewport={"width": 1024, "height": 768}, has_touch=True)
    gate = Gate(context.new_page(), day)
    yield gate
    context.close()
    assert gate.complaints == []


def test_a_scan_answers_cleared_and_one_touch_lets_him_in(gate):
    player = gate.ready()
    gate.picture("01-waiting")
    gate.scan(gate.text(player))
    gate.answers("cleared", "CLEARED", f"Armband {player[1:]}")
    gate.picture("02-cleared")
    gate.let_in()
    gate.says("#hint", "He is in.")
    assert ("games.player_admitted", player) in gate.entries()
    gate.scan(gate.text(player))
    gate.answers("not-cleared", "NOT CLEARED", "on a field already", "staging")


def test_who_is_not_cleared_hears_every_reason_and_where_to_go(gate):
    number = next(armbands)
    gate.day.arrive(f"p{number}", number)
    gate.keys.type(str(number), "Enter")
    gate.answers("not-cleared", "Your entry is not paid.", "→ desk", "You have no mask.", "→ gear counter")
    expect(gate.page.locator("#let-in")).to_be_hidden()
    gate.says("footer", "mask on and sealed, barrel covered, sober")
    gate.picture("03-not-cleared")


def test_a_second_enter_of_the_scanner_lets_nobody_in(gate):
    player = gate.ready()
    gate.scan(gate.text(player))
    gate.answers("cleared")
    for _ in range(3):
        gate.page.keyboard.press("Enter")
    gate.page.wait_for_timeout(800)
    assert ("games.player_admitted", player) not in gate.entries()


def test_a_replaced_a_foreign_a_forged_and_an_old_pass_are_told_apart(gate):
    player = gate.ready()
    old = gate.text(player)
    gate.day.send("registration/reissue-pass", {"player": player, "day_pass": BEHIND_A_REPLACEMENT, "fault": "lost"})
    gate.scan(old)
    gate.answers("not-cleared", "was replaced by a newer one", "→ desk")
    foreign = "FLDPAGRK4XZBLC4RUYLTOMWTONIY" + "A" * 100
    gate.scan(foreign)
    gate.answers("not-cleared", "No key that is known here signed this pass")
    gate.scan("https://fernmoor.example/ticket?seat=7")
    gate.answers("not-cleared", "no day pass of this park and no armband's number", "→ desk")
    newer = gate.text(player, code=BEHIND_A_REPLACEMENT)
    gate.scan(newer[:-20] + ("A" if newer[-20] != "A" else "B") + newer[-19:])
    gate.answers("not-cleared", "no genuine pass")
    gate.knows(player)
    gate.cut()
    gate.scan(old)
    gate.answers("not-cleared", "replaced by a newer one")
    gate.scan(foreign)
    gate.answers("not-cleared", "No key that is known here signed this pass")
    gate.scan(newer[:-20] + ("A" if newer[-20] != "A" else "B") + newer[-19:])
    gate.answers("not-cleared", "its signature does not hold")
    gate.scan(newer)
    gate.answers("cleared")
    gate.says("#answer", "By what this gate knew last")
    expect(gate.page.locator("#knew")).not_to_contain_text("not checked")


def test_the_network_goes_in_the_middle_and_what_was_let_in_is_sent_in_order_once_it_is_back(gate):
    first, second, third = gate.ready(), gate.ready(), gate.ready()
    gate.knows(third)
    gate.scan(gate.text(first))
    gate.answers("cleared")
    gate.cut()
    for player in (second, third):
        gate.scan(gate.text(player))
        gate.answers("cleared", "By what this gate knew last")
        gate.picture("04-offline")
        gate.let_in()
        gate.says("#hint", "Recorded here")
    gate.says("#link", "2 let in, not sent yet")
    gate.scan(gate.text(second))
    gate.answers("not-cleared", "This gate let him in at")
    gate.page.reload()
    gate.says("#link", "2 let in, not sent yet")
    gate.keys.type(second[1:], "Enter")
    gate.answers("not-cleared", "This gate let him in at")
    assert not gate.entries() or gate.entries()[-1][1] not in {second, third}
    gate.back()
    expect(gate.page.locator("#link")).not_to_contain_text("not sent", timeout=WITHIN)
    assert gate.entries()[-2:] == [("games.entry_recorded", second), ("games.entry_recorded", third)]
    expect(gate.page.locator("#late")).to_be_hidden()
    assert gate.day.board()["alerts"] == [] or all(
        one["kind"] != "let_in_offline" for one in gate.day.board()["alerts"]
    )


def test_beyond_the_rules_minutes_nobody_is_cleared(gate):
    player = gate.ready()
    gate.knows(player)
    gate.cut()
    gate.scan(gate.text(player))
    gate.answers("cleared")
    gate.page.evaluate(LATER, 16)
    gate.answers("none")
    gate.scan(gate.text(player))
    gate.answers("not-cleared", "no network for too long", "16 min old")
    gate.says("#link", "NOBODY IS CLEARED")
    expect(gate.page.locator("#let-in")).to_be_hidden()
    gate.picture("05-too-old")


def test_a_clock_that_was_set_back_clears_nobody(gate):
    player = gate.ready()
    gate.knows(player)
    gate.cut()
    gate.page.evaluate(LATER, -30)
    gate.scan(gate.text(player))
    gate.answers("not-cleared", "no network for too long")


def test_whoever_was_ejected_while_the_gate_was_cut_off_is_an_alarm_once_it_is_back(gate):
    player = gate.ready()
    gate.knows(player)
    gate.cut()
    gate.day.send("discipline/caution", {"caution": "c-" + player, "player": player, "violation": "physical-contact"})
    gate.day.send("discipline/confirm-ejection", {"caution": "c-" + player, "player": player})
    gate.scan(gate.text(player))
    gate.answers("cleared", "By what this gate knew last")
    gate.let_in()
    gate.back()
    gate.says("#late", f"Armband {player[1:]} is on the field and NOT CLEARED")
    gate.says("#late", "You have been ejected for today.")
    gate.picture("06-late")
    (alert,) = [one for one in gate.day.board()["alerts"] if one["kind"] == "let_in_offline"]
    assert alert["field"] == gate.field
    assert f"rmband {player[1:]} went onto" in alert["sentence"]
    gate.page.reload()
    gate.says("#late", "NOT CLEARED")
    gate.page.click("[data-seen]")
    expect(gate.page.locator("#late")).to_be_hidden()


def test_an_answer_without_the_network_is_asked_of_the_park_once_it_is_back(gate):
    player = gate.ready()
    gate.knows(player)
    gate.cut()
    gate.day.send("discipline/caution", {"caution": "c-" + player, "player": player, "violation": "physical-contact"})
    gate.scan(gate.text(player))
    gate.answers("cleared", "By what this gate knew last")
    gate.back()
    gate.answers("not-cleared", f"Armband {player[1:]}", "→ head referee")
    expect(gate.page.locator("#knew")).to_have_text("")


def test_an_answer_that_turns_while_he_stands_there_is_turned_on_the_page(gate):
    player = gate.ready()
    gate.scan(gate.text(player))
    gate.answers("cleared")
    gate.day.send("games/ask-hold", {"hold": gate.day.name("hold"), "field": gate.field})
    gate.answers("not-cleared", "Play is stopped on this field.")


def test_a_reload_without_the_network_opens_and_answers(gate):
    player = gate.ready()
    gate.knows(player)
    gate.page.reload()
    gate.says("#link", "● live")
    gate.knows(player)
    gate.cut()
    gate.page.reload()
    gate.scan(gate.text(player))
    gate.answers("cleared", "By what this gate knew last")


def test_before_it_has_heard_anything_it_clears_nobody(gate):
    gate.page.evaluate(
        "async () => { for (const key of await caches.keys()) if (key.startsWith('gate list')) await caches.delete(key); }"
    )
    gate.page.context.set_offline(True)
    gate.page.reload()
    gate.keys.type("1", "Enter")
    gate.answers("not-cleared", "has not heard from the park yet")


def test_on_a_phone_on_its_side_he_is_let_in_without_moving_the_page(gate):
    gate.page.set_viewport_size({"width": 844, "height": 390})
    player = gate.ready()
    gate.scan(gate.text(player))
    gate.answers("cleared", "CLEARED")
    box = gate.page.locator("#let-in").bounding_box()
    middle = [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2]
    assert gate.page.evaluate("(at) => document.elementFromPoint(...at)?.id", middle) == "let-in"
    assert gate.page.evaluate("scrollY") == 0


def test_nobody_joins_an_elimination_game_at_the_gate(browser, day):
    context = browser.new_context(viewport={"width": 768, "height": 1024})
    gate = Gate(context.new_page(), day, format_="elimination")
    gate.scan(gate.text(gate.ready()))
    gate.answers("not-cleared", "Nobody joins an elimination game", "Nothing else stands against him.")
    expect(gate.page.locator("#let-in")).to_be_hidden()
    gate.picture("07-upright")
    context.close()


def test_a_key_of_another_kind_of_device_opens_nothing(gate):
    gate.page.evaluate("localStorage.setItem('fieldledger key', 'nobody.secret')")
    gate.page.reload()
    expect(gate.page.locator("#sign-in")).to_be_visible(timeout=WITHIN)
    gate.says("#problem", "no key of this park")


@pytest.mark.parametrize(
    ("status", "kind", "body"),
    [
        (403, "text/html", "<h1>Forbidden</h1>"),
        (404, "application/json", '{"message": "no such host"}'),
        (401, "text/html", "<h1>Sign in to this network</h1>"),
        (200, "text/html", "<h1>Sign in to this network</h1>"),
        (200, "application/json", '{"ok": true}'),
        (429, "application/problem+json", '{"type": "/problems/too-many-tries", "status": 429, "detail": "Wait."}'),
    ],
)
def test_what_something_between_answers_in_the_parks_place_loses_neither_fact_nor_key(gate, status, kind, body):
    player = gate.ready()
    gate.knows(player)
    gate.cut()
    gate.scan(gate.text(player))
    gate.answers("cleared")
    gate.let_in()
    asked = re.compile("/games/(gate[?]|record-entry)|/registration/players|/passes/keys")
    answered = []

    def between(route):
        answered.append(route.request.method)
        route.fulfill(status=status, content_type=kind, body=body)

    gate.page.route(asked, between)
    gate.page.context.set_offline(False)
    for tries in (1, 2):  # a second try shows what became of the first
        deadline = time.monotonic() + 20
        while "GET" not in answered or answered.count("POST") < tries:
            assert time.monotonic() < deadline, f"The gate asked only {answered}."
            gate.page.wait_for_timeout(50)
        gate.asks()
    gate.says("#link", "NOT CONNECTED")
    gate.says("#link", "1 let in, not sent yet")
    gate.page.unroute(asked)
    gate.asks()
    gate.says("#link", "● live")
    expect(gate.page.locator("#link")).not_to_contain_text("not sent", timeout=WITHIN)
    assert gate.entries()[-1:] == [("games.entry_recorded", player)]
    expect(gate.page.locator("#late")).to_be_hidden()


def test_an_entry_that_waits_for_its_key_to_open_again_is_not_said_to_be_unrecorded(gate):
    player = gate.ready()
    gate.knows(player)
    gate.cut()
    gate.scan(gate.text(player))
    gate.answers("cleared")
    gate.let_in()
    no = {"type": "/problems/not-authenticated", "status": 401, "detail": "No."}
    gate.page.route("**/games/record-entry", lambda route: route.fulfill(status=401, json=no))
    gate.page.context.set_offline(False)
    gate.says("#problem", f"1 recorded on {gate.name} not sent: kept here until its key opens again")
    gate.page.unroute("**/games/record-entry")
    gate.page.fill("#key", gate.key)
    gate.page.keyboard.press("Enter")
    gate.says("#link", "● live")
    expect(gate.page.locator("#link")).not_to_contain_text("not sent", timeout=WITHIN)
    expect(gate.page.locator("#late")).to_be_hidden()
    assert gate.entries()[-1:] == [("games.entry_recorded", player)]


def test_an_alarm_is_raised_also_where_the_list_overtakes_the_receipt(gate):
    player = gate.ready()
    gate.knows(player)
    gate.cut()
    gate.day.send("discipline/caution", {"caution": "c-" + player, "player": player, "violation": "physical-contact"})
    gate.day.send("discipline/confirm-ejection", {"caution": "c-" + player, "player": player})
    gate.scan(gate.text(player))
    gate.answers("cleared", "By what this gate knew last")
    gate.let_in()

    def slowly(route):
        receipt = route.fetch()
        before = gate.day.live.head()
        deadline = time.monotonic() + 20
        while not any(kept["position"] >= before for kept in gate.page.evaluate(KEPT)):
            assert time.monotonic() < deadline
            gate.page.wait_for_timeout(50)
        route.fulfill(response=receipt)

    gate.page.route("**/games/record-entry", slowly)
    gate.back()
    expect(gate.page.locator("#link")).not_to_contain_text("not sent", timeout=WITHIN)
    gate.says("#late", f"Armband {player[1:]} is on the field and NOT CLEARED")


def test_whoever_this_gate_let_in_is_not_cleared_again_before_that_is_sent(gate):
    player = gate.ready()
    gate.knows(player)
    gate.cut()
    gate.scan(gate.text(player))
    gate.answers("cleared")
    gate.let_in()
    gate.page.route("**/games/record-entry", lambda route: route.abort())
    gate.page.context.set_offline(False)
    gate.page.wait_for_timeout(500)
    for _ in range(3):  # whether it is live by then or not
        gate.scan(gate.text(player))
        gate.answers("not-cleared", "This gate let him in at")
        gate.page.wait_for_timeout(700)


def test_what_came_of_letting_one_in_is_told_though_the_next_was_scanned(gate):
    player, other = gate.ready(), gate.ready()
    gate.scan(gate.text(player))
    gate.answers("cleared")
    held = []

    def hold(route):
        held.append(route)

    gate.page.route("**/games/admit-player", hold)
    gate.page.wait_for_selector("body:not(.settling)")
    gate.page.click("#let-in")
    gate.scan(gate.text(other))
    gate.answers("cleared", f"Armband {other[1:]}")
    held.pop().abort()
    gate.says("#problem", f"Armband {player[1:]}")
    gate.says("#problem", "it is not known whether he is let in")
    gate.answers("cleared", f"Armband {other[1:]}")


class Between(BaseHTTPRequestHandler):
    """A proxy before a park that is down: its own words at every path."""

    status = 502

    def do_GET(self):
        said = b"<h1>Back soon</h1>"
        self.send_response(self.status)
        self.send_header("Content-Type", "text/html")
        self.send_header("Content-Length", str(len(said)))
        self.end_headers()
        self.wfile.write(said)

    def log_message(self, *_):
        pass


@pytest.mark.parametrize("status", [502, 200])
def test_a_reload_opens_and_answers_though_a_proxy_speaks_in_the_parks_place(gate, server, day, status):
    player = gate.ready()
    gate.page.reload()
    gate.says("#link", "● live")
    gate.knows(player)
    server.down()
    Between.status = status
    between = ThreadingHTTPServer(("127.0.0.1", server.port), Between)
    threading.Thread(target=between.serve_forever).start()
    try:
        for _ in range(2):
            gate.page.reload()
            gate.says("#link", "NOT CONNECTED")
            gate.scan(gate.text(player))
            gate.answers("cleared", "By what this gate knew last")
    finally:
        between.shutdown()
        between.server_close()
        day.live = server.up()
    gate.says("#link", "● live")


def test_a_reload_opens_and_answers_while_the_park_hangs(gate):
    player = gate.ready()
    gate.page.reload()
    gate.says("#link", "● live")
    gate.knows(player)
    text = gate.text(player)
    goes_on = threading.Event()
    hanging = threading.Thread(target=gate.day.live.portal.call, args=(goes_on.wait, 60))
    hanging.start()
    try:
        gate.page.reload(wait_until="commit", timeout=WITHIN)
        gate.says("#link", "NOT CONNECTED")
        gate.scan(text)
        gate.answers("cleared", "By what this gate knew last")
        assert hanging.is_alive()
    finally:
        goes_on.set()
        hanging.join()
    gate.says("#link", "● live")


def test_a_clock_set_back_by_less_than_the_age_makes_no_list_younger(gate):
    player = gate.ready()
    gate.knows(player)
    gate.cut()
    gate.page.evaluate(
        """minutes => {
          const real = performance.now.bind(performance);
          performance.now = () => real() + minutes * 60000;
        }""",
        16,
    )  # sixteen minutes went by, and the clock was set back by as many
    gate.scan(gate.text(player))
    gate.answers("not-cleared", "no network for too long", "16 min old")
    gate.says("#link", "NOBODY IS CLEARED")


def test_another_device_on_the_same_page_counts_from_one(gate):
    def let_in_without_the_network():
        player = gate.ready()
        gate.knows(player)
        gate.cut()
        gate.scan(gate.text(player))
        gate.answers("cleared")
        gate.let_in()
        gate.back()
        expect(gate.page.locator("#link")).not_to_contain_text("not sent", timeout=WITHIN)

    let_in_without_the_network()
    let_in_without_the_network()
    asked = re.compile("/games/gate[?]")
    no = {"type": "/problems/not-authenticated", "status": 401, "detail": "No."}
    gate.page.route(asked, lambda route: route.fulfill(status=401, json=no))
    gate.asks()
    expect(gate.page.locator("#sign-in")).to_be_visible(timeout=30_000)
    gate.page.unroute(asked)
    other = gate.day.name("gate")
    gate.page.fill("#key", gate.day.live.enrol(other, "staging"))
    gate.page.keyboard.press("Enter")
    gate.says("#link", "● live")
    let_in_without_the_network()
    live = gate.day.live
    for name, last in ((gate.name, 2), (other, 1)):
        told = live.get(f"/parks/{live.park}/devices/{name}/sequence").json()
        assert (told["held"], told["holes"]) == ([[1, last]], [])


def test_a_full_store_loses_no_key_that_a_code_was_spent_for(gate):
    name = gate.day.name("gate")
    body = {"device": name, "roles": ["staging"], "minutes": 15}
    code = gate.day.send("devices/invite-device", body)["secret"]
    gate.page.evaluate(
        """() => {
          localStorage.removeItem("fieldledger key");
          for (let size = 1 << 22; size >= 1; size >>= 1)
            for (;;) try { localStorage.setItem("full" + Math.random(), "x".repeat(size)); } catch { break; }
          for (let at = 0; at < 300; at += 1) try { localStorage.setItem("f" + at, ""); } catch { break; }
        }"""
    )
    gate.page.reload()
    gate.page.fill("#key", code)
    gate.page.keyboard.press("Enter")
    expect(gate.page.locator("#new-key")).to_contain_text(f"{name}.", timeout=WITHIN)
    gate.page.click("#key-kept")
    gate.says("#link", "● live")


def test_a_list_that_the_park_no_longer_gives_is_not_live_and_is_asked_for_until_it_is_back(gate):
    asked = re.compile("/games/gate[?]")
    gone = {"type": "/problems/unknown-subject", "status": 404, "detail": "The record knows no such field."}
    gate.page.route(asked, lambda route: route.fulfill(status=404, json=gone))
    gate.asks()
    gate.says("#problem", "knows no such field")
    gate.says("#link", "NOT CONNECTED")
    gate.page.unroute(asked)
    gate.says("#link", "● live")
