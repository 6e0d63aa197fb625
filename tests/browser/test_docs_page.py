"""The contracts' page in a real browser: both documents in full, found by search, each route and event under an address, nothing from elsewhere."""

import itertools
import os
from pathlib import Path

import pytest
from playwright.sync_api import expect

from contracts.catalogue import COMMANDS, EVENTS
from contracts.documents import all_described
from tests.browser.server import Server

pytestmark = pytest.mark.timeout(240)
WITHIN = 8_000
"""Milliseconds in which what a test waits for must come about."""
SHOTS = os.environ.get("DOCS_SHOTS", "")
"""A folder for pictures of the page, for whoever wants to look."""
parks = itertools.count(1)


@pytest.fixture(scope="module")
def live(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, f"larchdocs-{next(parks)}")
    yield server.up()
    server.down()


@pytest.fixture
def page(browser, live):
    """The page as a stranger opens it: no key, no network but the park's server."""
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    page.set_default_timeout(WITHIN)
    complaints, elsewhere = [], []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("request", lambda asked: elsewhere.append(asked.url) if not asked.url.startswith(live.url) else None)
    page.goto(f"{live.url}/docs")
    page.wait_for_selector("#list section")
    yield page
    context.close()
    assert complaints == []
    assert elsewhere == []


def shoot(page, name, *, whole=False):
    if SHOTS:
        page.screenshot(path=Path(SHOTS) / f"docs-{name}.png", full_page=whole)


def at(page, live, address):
    page.goto(f"{live.url}/docs{address}")
    page.wait_for_selector("main h3")


def test_everything_that_can_be_written_heard_or_refused_is_in_the_list(page):
    shoot(page, "home")
    titles = set(page.locator("#list a").all_inner_texts())
    assert {f"POST …/{path}" for path in COMMANDS} <= titles
    assert set(EVENTS) <= titles
    assert {one.type.rpartition("/")[2] for one in all_described().problems} <= titles


def test_a_route_shows_who_may_what_is_sent_what_is_answered_and_how_it_is_refused(page, live):
    at(page, live, "#/http/games.start-game")
    shoot(page, "route")
    shoot(page, "route-whole", whole=True)
    main = page.locator("main")
    expect(main.locator("h2")).to_have_text("POST /parks/{park}/games/start-game")
    expect(main.locator(".roles")).to_have_text("head_referee, manager, referee")
    expect(main).to_contain_text('"without"')
    expect(main).to_contain_text("games.game_started")
    expect(main.locator("a", has_text="not-cleared")).to_be_visible()
    main.locator("summary", has_text="Every field").first.click()
    expect(main.locator("th code", has_text="game").first).to_be_visible()
    assert page.title() == "POST …/games/start-game · Fieldledger"


def test_a_problem_leads_from_the_route_to_what_to_do_and_back_to_who_can_answer_so(page, live):
    at(page, live, "#/http/games.start-game")
    page.locator("main a", has_text="not-cleared").click()
    expect(page.locator("main h2")).to_have_text("409 Not cleared")
    expect(page.locator("main .note")).to_contain_text("Nobody enters.")
    expect(page.locator("main li a", has_text="games/admit-player")).to_have_count(1)
    shoot(page, "problem")


def test_an_event_shows_each_version_with_its_fields_and_its_leaf(page, live):
    at(page, live, "#/events/velocity.marker_tested")
    shoot(page, "event")
    main = page.locator("main")
    expect(main.locator("h3")).to_have_text([f"velocity.marker_tested, version {number}" for number in (3, 2, 1)])
    expect(main.locator("th code", has_text="readings_fps").first).to_be_visible()
    expect(main.locator("pre").first).to_contain_text("fieldledger leaf 1")
    assert main.locator('a[href="/docs/events/velocity.marker_tested.v3.json"]').count() == 1


def test_a_stream_shows_what_it_tells(page, live):
    at(page, live, "#/streams/board.stream")
    shoot(page, "stream")
    assert {"snapshot", "patch", "beat"} <= set(page.locator("main h3").all_inner_texts())


def test_every_address_in_the_list_leads_to_something(page):
    """One of each group, and all problems."""
    for group in page.locator("#list section").all():
        anchor = group.locator("a").last
        anchor.click()
        expect(anchor).to_have_attribute("aria-current", "page")
        expect(page.locator("main h3").first).to_be_attached()


def test_words_find_a_route_by_its_fields_its_roles_and_its_sentence(page):
    page.keyboard.press("/")
    page.keyboard.type("day_pass armband register")
    expect(page.locator("#list a")).to_have_text(["POST …/registration/register-player"])
    expect(page.locator("#count")).to_have_text("1 found")
    page.keyboard.press("Enter")
    expect(page.locator("main h2")).to_have_text("POST /parks/{park}/registration/register-player")
    page.fill("#search", "colour of the sky")
    expect(page.locator("#count")).to_have_text("0 found")


def test_a_reason_is_found_by_its_code_and_says_where_it_is_cleared(page):
    page.fill("#search", "chrono_untrusted")
    page.keyboard.press("Enter")
    expect(page.locator("main h2")).to_have_text("chrono_untrusted")
    expect(page.locator("main .note")).to_have_text("chronograph")


def test_headers_and_parameters_are_found_by_their_names(page):
    page.fill("#search", "Device-Version device-seq")
    expect(page.locator("#list a", has_text="games/record-out")).to_have_count(1)
    page.fill("#search", "last-event-id events")
    expect(page.locator("#list a", has_text="GET …/events/stream")).to_have_count(1)


def test_what_is_to_be_tried_can_be_sent_as_it_stands_and_bears_a_new_key_each_time(page, live):
    tried = page.locator("main pre").first
    at(page, live, "#/http/registration.register-person")
    expect(tried).to_contain_text('-H "Idempotency-Key: \\"$(cat /proc/sys/kernel/random/uuid)\\""')
    at(page, live, "#/http/batch")
    expect(tried).to_contain_text("printf '%s\\n' '{\"key\":")
    expect(tried).to_contain_text('-H "Content-Type: application/x-ndjson"')
    expect(tried).to_contain_text("--data-binary @-")
    at(page, live, "#/http/clearance.players.player")
    expect(tried).to_contain_text("?field=<field>")


@pytest.mark.parametrize("name", ["line-cut", "not-offline", "device-revoked", "set-aside-full"])
def test_a_problem_of_one_line_leads_to_the_batch_whose_verdicts_it_stands_in(page, live, name):
    at(page, live, f"#/problems/{name}")
    page.locator("main a", has_text="batch").click()
    expect(page.locator("main h2")).to_have_text("POST /parks/{park}/batch")


def test_the_way_past_the_list_leads_to_what_is_shown_and_leaves_it_there(page, live):
    at(page, live, "#/problems/line-cut")
    page.locator(".skip").focus()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()
    expect(page.locator("main h2")).to_have_text("400 The last line has no end")


def test_keys_go_on_in_what_was_chosen_and_not_in_the_list(page):
    page.locator("#list a").nth(1).focus()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()
    page.keyboard.press("/")
    page.keyboard.type("line-cut")
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()


def test_an_address_that_leads_nowhere_says_so(page, live):
    page.goto(f"{live.url}/docs#/http/games.blow-whistle")
    expect(page.locator("main h2")).to_have_text("There is no such thing here")


def test_it_can_be_read_on_a_small_screen(page, live):
    page.set_viewport_size({"width": 390, "height": 844})
    at(page, live, "#/http/registration.register-player")
    shoot(page, "small")
    page.goto("about:blank")
    page.goto(f"{live.url}/docs")
    page.wait_for_selector("main p a")
    assert page.evaluate("scrollY") == 0  # the search, and what comes before any record, are seen first
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_what_a_problem_points_to_says_what_to_do(live):
    answer = live.http.post(f"/parks/{live.park}/games/start-game", json={}, headers={})
    told = live.http.get(answer.json()["type"])
    assert (told.status_code, told.json()["title"]) == (200, "No valid device key")
    assert told.json()["remedy"].startswith("Send `Authorization")
    assert live.http.get("/problems/too-quiet").json()["type"] == "/problems/not-found"
    assert live.http.get("/docs/events/velocity.marker_tested.v3.json").json()["$ref"] == "#/$defs/MarkerTested"
    assert live.http.get("/docs/events/velocity.marker_tested.v9.json").status_code == 404
