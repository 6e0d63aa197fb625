"""The roll-call and the closing list in a real browser: large, by field, minors marked, and to be printed."""

import itertools
import os
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.server import Server
from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(240)
WITHIN = 8_000
"""Milliseconds in which what a test waits for must come about."""
SHOTS = os.environ.get("ROLL_CALL_SHOTS", "")
"""A folder for pictures of the page, for whoever wants to look."""
parks = itertools.count(1)


@pytest.fixture
def server(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, f"larchfen-{next(parks)}")
    yield server
    server.down()


@pytest.fixture
def day(server):
    """Four on a live field, two of them minors; one who waits, and a minor who waits with a group."""
    day = BoardDay(server.up())
    day.open("birch", "fern")
    day.send("registration/register-person", {"person": "person-rowan", "age_band": 18})
    day.send("registration/register-group", {"group": "kestrel", "size": 2})
    for number in range(1, 5):
        arrived(day, number, age_band=14 if number > 2 else 18)
        day.clear(f"p{number}")
    day.start("g1", "birch", [f"p{number}" for number in range(1, 5)])
    arrived(day, 50)
    arrived(day, 51, age_band=12, group="kestrel")
    return day


def arrived(day, number, age_band=18, **more):
    day.arrive(f"p{number}", number, age_band, **more)
    if age_band < 18:
        consent = {"person": f"person-p{number}", "guardian": "person-rowan", "relationship": "parent", "wording": "w1"}
        day.send("registration/give-consent", consent)


@pytest.fixture
def page(browser, day):
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{day.live.url}/parks/{day.live.park}/roll-call")
    page.fill("#key", day.live.keys["everything"])
    page.keyboard.press("Enter")
    page.wait_for_selector("#list section")
    yield page
    context.close()
    assert complaints == []


def shoot(page, name):
    if SHOTS:
        page.screenshot(path=Path(SHOTS) / f"roll-call-{name}.png", full_page=True)


def heads(page, name):
    return page.locator(f'[data-name="{name}"] .heads li').all_inner_texts()


def test_it_says_field_by_field_who_is_on_it_with_the_minors_marked_and_who_is_elsewhere(page):
    expect(page.locator(".sum")).to_have_text(
        "4 on the fields, of these 2 minors. Elsewhere in the park: 2, of these 1 minor."
    )
    expect(page.locator('[data-name="birch"] h2')).to_have_text("Birch: 4 people on it, 2 minors")
    expect(page.locator('[data-name="fern"] h2')).to_have_text("Fern: 0 people on it, 0 minors")
    told = heads(page, "birch")
    assert [text.split()[0] for text in told] == ["1", "2", "3", "4"]
    assert ["MINOR" in text for text in told] == [False, False, True, True]
    assert ["red" in text for text in told] == [True, False, True, False]
    assert "MINOR" in heads(page, "kestrel")[0]
    assert heads(page, "alone")[0].startswith("50")
    shoot(page, "fields")


def test_it_follows_who_comes_off_while_play_is_stopped(page, day):
    day.send("games/ask-hold", {"hold": "h1", "cause": "fire"})
    day.send("games/record-out", {"player": "p1", "field": "birch", "game": "g1", "cause": "walked_off"})
    birch = page.locator('[data-name="birch"]')
    expect(birch.locator("h2")).to_have_text("Birch: 3 people on it, 2 minors", timeout=WITHIN)
    expect(birch).to_contain_text("Play is stopped since")
    expect(birch.locator("h3")).to_have_text("Came off since play was stopped: 1")


def test_the_closing_list_names_the_minors_who_are_not_collected_first_and_whom_they_are_handed_to(page, day):
    day.send("games/end-game", {"game": "g1"})
    day.send("games/count-heads", {"game": "g1", "counted": 4})
    page.click("[data-list=closing]")
    sections = page.locator("#list section")
    expect(sections.first.locator("h2")).to_have_text("Minors who are not collected: 3", timeout=WITHIN)
    expect(sections.first).to_contain_text("Only to: person-rowan")
    expect(sections.nth(1).locator("h2")).to_have_text("Others who have not left: 3")
    shoot(page, "closing")
    day.send("registration/hand-over-minor", {"player": "p3", "adult": "person-rowan"})
    expect(sections.first.locator("h2")).to_have_text("Minors who are not collected: 2", timeout=WITHIN)


def test_in_print_each_field_has_a_sheet_of_its_own_and_no_button_is_on_it(page):
    page.emulate_media(media="print")
    expect(page.locator("nav")).to_be_hidden()
    second = page.locator("section.field").nth(1)
    assert second.evaluate("node => getComputedStyle(node).breakBefore") == "page"
    assert len(page.pdf()) > 1000
    if SHOTS:
        (Path(SHOTS) / "roll-call.pdf").write_bytes(page.pdf(format="A4"))


def test_when_the_park_is_away_the_last_list_stays_and_says_of_when_it_is(page, server):
    server.down()
    expect(page.locator("#as-of")).to_contain_text("NOT CONNECTED: this list is of", timeout=20_000)
    assert len(heads(page, "birch")) == 4
    shoot(page, "away")
    server.up()
    expect(page.locator("#as-of")).to_contain_text("● as of", timeout=30_000)


def test_without_a_key_it_shows_nobody(browser, day):
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{day.live.url}/parks/{day.live.park}/roll-call")
    page.fill("#key", "nobody.secret")
    page.keyboard.press("Enter")
    expect(page.locator("#problem")).to_contain_text("This is no key of this park")
    expect(page.locator("#list section")).to_have_count(0)
    context.close()
