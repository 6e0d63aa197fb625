"""The staging screen in a real browser: who is not ready and why, teams proposed, overruled by a touch, and called in one."""

import itertools
import json
import os
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.server import Server
from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(240)
SIZES = {"wide": (1280, 800), "tall": (800, 1280)}
WITHIN = 8_000
"""Milliseconds in which what a test waits for must come about."""
TOUCH = 60
"""Pixels that a gloved finger needs."""
SHOTS = os.environ.get("STAGING_SHOTS", "")
"""A folder for pictures of the page, for whoever wants to look."""
parks = itertools.count(1)


@pytest.fixture
def server(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, f"heronmoor-{next(parks)}")
    yield server
    server.down()


@pytest.fixture
def day(server):
    """Two fields; ten players who are ready, four of them together; one who lacks everything but a day pass."""
    day = BoardDay(server.up())
    day.open("birch", "fern")
    day.send("registration/register-group", {"group": "kestrel", "size": 4})
    for number in range(1, 11):
        day.arrive(f"p{number}", number, **({"group": "kestrel"} if number < 5 else {}))
        day.clear(f"p{number}")
    day.arrive("p77", 77, age_band=14)
    return day


class Staging:
    """The page as the person who calls the games uses it."""

    def __init__(self, browser, day, size):
        width, height = SIZES[size]
        self.context = browser.new_context(viewport={"width": width, "height": height})
        self.page = self.context.new_page()
        self.day, self.size = day, size
        self.complaints = []
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", self._console)
        self.page.goto(f"{day.live.url}/parks/{day.live.park}/games/staging")

    def _console(self, message):
        """Whatever a browser says of a network that is away, or of a refusal, is no fault of the page."""
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.complaints.append(message.text)

    def sign_in(self):
        self.page.fill("#key", self.day.live.keys["everything"])
        self.page.keyboard.press("Enter")
        self.page.wait_for_selector("#staging:not([hidden])")
        expect(self.page.locator("#link")).to_have_text("● live", timeout=WITHIN)
        return self

    def act(self, name):
        self.page.click(f"[data-act={name}]")

    def propose(self):
        self.act("propose")
        self.page.wait_for_selector("#sides [data-over]")
        return self.sides()

    def sides(self):
        found = {}
        for side in ("red", "blue", "out"):
            buttons = self.page.locator(f'[data-side="{side}"] .over')
            found[side] = sorted(int(text.split("c")[0]) for text in buttons.all_inner_texts())
        return found

    def shoot(self, name):
        if SHOTS:
            self.page.screenshot(path=Path(SHOTS) / f"staging-{name}-{self.size}.png", full_page=True)


@pytest.fixture(params=SIZES)
def screen(request, browser, day):
    screen = Staging(browser, day, request.param)
    yield screen
    screen.context.close()
    assert screen.complaints == []


@pytest.fixture
def wide(browser, day):
    screen = Staging(browser, day, "wide")
    yield screen.sign_in()
    screen.context.close()
    assert screen.complaints == []


def last(day, kind):
    """The data of the last event of a type that the park has recorded."""
    rows = day.live.portal.call(day.live.running.parks[day.live.park].log.tail, 0, 100_000)
    events = (json.loads(bytes(row.leaf).splitlines()[-1]) for row in rows)
    return [event["data"] for event in events if event["type"] == kind][-1]


def test_it_says_who_is_not_ready_every_reason_and_where_it_is_cleared(screen):
    screen.sign_in()
    item = screen.page.locator("#not-ready ol > li")
    expect(item).to_have_count(1)
    expect(item).to_contain_text("77")
    for reason in ("entry unpaid → desk", "briefing missing → briefing", "mask missing → gear counter"):
        expect(item).to_contain_text(reason)
    screen.shoot("ready")


def test_a_proposal_is_shown_with_its_balance_in_words_and_numbers_and_called_in_one_touch(screen, day):
    screen.sign_in()
    found = screen.propose()
    assert sorted(found["red"] + found["blue"]) == list(range(1, 11))
    assert len(found["red"]) == len(found["blue"]) == 5
    assert {1, 2, 3, 4} <= set(found["red"]) or {1, 2, 3, 4} <= set(found["blue"]), "the group is together"
    expect(screen.page.locator("#verdict")).to_contain_text(
        "points apart; no teams of these players are nearer: proven"
    )
    expect(screen.page.locator("#balance tbody tr")).to_have_count(5)
    expect(screen.page.locator("#balance tbody tr").first).to_have_text("players550")
    screen.shoot("teams")
    screen.act("call")
    expect(screen.page.locator("#verdict")).to_contain_text("Called: birch-", timeout=WITHIN)
    called = last(day, "games.game_called")
    assert (called["field"], called["format"], called["minutes"], len(called["entrants"])) == (
        "birch",
        "elimination",
        15,
        10,
    )
    assert last(day, "games.teams_called")["overruled"] == []
    expect(screen.page.locator('[data-field="birch"]')).to_contain_text("called: 10 of 10 ready", timeout=WITHIN)
    screen.shoot("called")


def test_a_player_is_put_on_the_other_side_or_out_by_a_touch_and_that_stands_on_the_record(screen, day):
    screen.sign_in()
    before = screen.propose()
    over, out = before["red"][0], before["blue"][0]
    screen.page.click(f'[data-over="p{over}"]')
    screen.page.click(f'[data-out="p{out}"]')
    after = screen.sides()
    assert (over in after["blue"], after["out"]) == (True, [out])
    expect(screen.page.locator("#verdict")).to_contain_text("2 changed by you")
    screen.shoot("overruled")
    screen.act("call")
    expect(screen.page.locator("#verdict")).to_contain_text("2 stand elsewhere than was proposed", timeout=WITHIN)
    changed = {one["player"]: (one["proposed"], one["called"]) for one in last(day, "games.teams_called")["overruled"]}
    assert changed == {f"p{over}": ("red", "blue"), f"p{out}": ("blue", None)}


def test_a_game_that_waits_is_given_another_list_and_stays_one_game(wide, day):
    wide.propose()
    wide.act("call")
    expect(wide.page.locator("#verdict")).to_contain_text("Called: birch-", timeout=WITHIN)
    first = last(day, "games.game_called")
    expect(wide.page.locator('[data-field="birch"]')).to_contain_text("called: 10 of 10 ready", timeout=WITHIN)
    wide.page.click('[data-group="kestrel"]')
    wide.propose()
    expect(wide.page.locator("[data-act=call]")).to_contain_text("Replace the list that waits")
    wide.act("call")
    expect(wide.page.locator('[data-field="birch"]')).to_contain_text("called: 6 of 6 ready", timeout=WITHIN)
    again = last(day, "games.game_called")
    assert (again["game"], len(again["entrants"])) == (first["game"], 6)


def test_whoever_was_put_out_comes_back_to_the_side_with_fewer(wide):
    out = wide.propose()["blue"][0]
    wide.page.click(f'[data-out="p{out}"]')
    wide.page.click(f'[data-over="p{out}"]')
    assert out in wide.sides()["blue"]
    expect(wide.page.locator("[data-act=call]")).to_contain_text("Call this game")


def test_a_group_that_is_left_out_is_not_asked_for(wide):
    wide.page.click('[data-group="kestrel"]')
    expect(wide.page.locator('[data-group="kestrel"]')).to_have_attribute("aria-pressed", "false")
    found = wide.propose()
    assert sorted(found["red"] + found["blue"]) == list(range(5, 11))


def test_who_is_next_by_the_plan_is_shown_for_each_field_and_taken_in_one_touch(wide, day):
    """Whom the plan has in a game is the planner's; here it is what its route answers."""
    path = f"/parks/{day.live.park}/games/rotation"
    plan = day.live.get(path, "everything").json()
    first = {game["field"]: game for game in reversed(plan["games"])}
    assert "birch" in first
    planned = {party["party"].removeprefix("player:") for party in first["birch"]["parties"]}
    if "group:kestrel" in planned:
        planned = (planned - {"group:kestrel"}) | {f"p{number}" for number in range(1, 5)}
    expect(wide.page.locator('[data-field="birch"] .plan')).to_contain_text("next about", timeout=WITHIN)
    wide.act("plan")
    wide.page.wait_for_selector("#sides [data-over]")
    found = wide.sides()
    assert {f"p{number}" for number in found["red"] + found["blue"]} == planned
    wide.shoot("plan")


def test_every_target_is_large_enough_for_a_glove(screen):
    screen.sign_in()
    screen.propose()
    targets = screen.page.locator("button:visible, select:visible, input:visible").evaluate_all(
        "found => found.map(one => [one.textContent, one.getBoundingClientRect().width, one.getBoundingClientRect().height])"
    )
    assert len(targets) > 5
    assert [one for one in targets if min(one[1:]) < TOUCH] == []
    wide = screen.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0, "nothing hangs over the edge"


def test_by_keyboard_alone_a_game_is_chosen_proposed_and_called(wide, day):
    for letter in ("2", "p"):
        wide.page.keyboard.press(letter)
    wide.page.wait_for_selector("#sides [data-over]")
    wide.page.keyboard.press("c")
    expect(wide.page.locator("#verdict")).to_contain_text("Called: fern-", timeout=WITHIN)
    assert last(day, "games.game_called")["field"] == "fern"


def test_a_call_that_is_refused_is_told_plainly_and_nothing_is_lost(wide):
    wide.propose()
    wide.page.route("**/games/call-game", lambda route: route.fulfill(
        status=409, content_type="application/problem+json",
        body=json.dumps({"type": "/problems/not-in-that-state", "title": "", "status": 409, "detail": "Game birch-1 has started. Call another."}),
    ))  # fmt: skip
    wide.act("call")
    expect(wide.page.locator("#problem")).to_have_text("Refused. Game birch-1 has started. Call another.")
    assert len(wide.sides()["red"]) == 5


def test_whoever_is_no_longer_ready_is_marked_in_the_teams(wide, day):
    wide.propose()
    day.send("incidents/record-unfit", {"player": "p3", "cause": "medical"})
    expect(wide.page.locator('[data-over="p3"]')).to_have_class("over unready", timeout=WITHIN)
    expect(wide.page.locator("#why")).to_contain_text("3 is not ready any more")
    expect(wide.page.locator("#not-ready")).to_contain_text("unfit → first aid")


def test_when_the_park_is_away_it_says_so_and_calls_nothing(wide, server):
    wide.propose()
    server.down()
    expect(wide.page.locator("#link")).to_contain_text("NOT CONNECTED since", timeout=20_000)
    expect(wide.page.locator("[data-act=call]")).to_be_disabled()
    wide.shoot("away")
    server.up()
    expect(wide.page.locator("#link")).to_have_text("● live", timeout=30_000)
    expect(wide.page.locator("[data-act=call]")).to_be_enabled()


def test_a_hold_is_shown_within_a_second(wide, day):
    day.send("games/ask-hold", {"hold": "h1", "cause": "fire"})
    expect(wide.page.locator("#hold")).to_contain_text("HOLD: Birch, Fern", timeout=1_500)
    wide.shoot("hold")


def test_a_wrong_key_opens_nothing(browser, day):
    screen = Staging(browser, day, "wide")
    screen.page.fill("#key", "nobody.secret")
    screen.page.keyboard.press("Enter")
    expect(screen.page.locator("#problem")).to_contain_text("This is no key of this park")
    expect(screen.page.locator("#staging")).to_be_hidden()
    screen.context.close()
