"""The devices' page in a real browser: a code shown once, a key revoked in two touches, and lines that a person judges."""

import json
import os
from pathlib import Path
from uuid import uuid4

import pytest
from playwright.sync_api import expect

from tests.browser.server import Server

pytestmark = pytest.mark.timeout(240)
WITHIN = 8_000
"""Milliseconds in which what a test waits for must come about."""
SHOTS = os.environ.get("DEVICES_SHOTS", "")
"""A folder for pictures of the page, for whoever wants to look."""


@pytest.fixture
def server(databases, nats_urls):
    database = databases.create()
    server = Server(database.url, nats_urls, f"larchfen-{uuid4().hex[:6]}")
    yield server
    server.down()
    databases.drop(database)


@pytest.fixture
def live(server):
    return server.up()


@pytest.fixture
def page(browser, live):
    """A manager's tablet; on it `office` has signed in."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, has_touch=True)
    page = context.new_page()
    page.set_default_timeout(WITHIN)
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{live.url}/parks/{live.park}/devices/page")
    sign_in(page, live.enrol("office", "manager"))
    expect(card(page, "office")).to_be_visible(timeout=WITHIN)
    yield page
    context.close()
    assert complaints == []


def sign_in(page, key):
    page.fill("#key", key)
    page.keyboard.press("Enter")


def card(page, device):
    return page.locator(f'[data-device="{device}"]')


def shoot(page, name, *, whole=True):
    if SHOTS:
        page.screenshot(path=Path(SHOTS) / f"devices-{name}.png", full_page=whole)


def invite(page, device, *roles, station=""):
    page.click("#invite")
    page.fill("#device", device)
    for role in roles:
        page.locator("#roles label", has_text=role).tap()
    page.fill("#station", station)
    page.get_by_role("button", name="Make a code").tap()
    expect(page.locator("#code")).to_be_visible(timeout=WITHIN)
    return page.inner_text("#code-itself")


def enrol(live, code):
    where = f"/parks/{live.park}/devices/enrol"
    return live.http.post(where, json={"code": code, "version": "2026.5"}, headers={"Idempotency-Key": f'"{uuid4()}"'})


def asks(live, key):
    return live.http.get(
        f"/parks/{live.park}/registration/players?armband=1", headers={"Authorization": f"Bearer {key}"}
    ).status_code


def send_batch(live, key, *lines):
    body = "".join(json.dumps({"key": str(uuid4()), **line}) + "\n" for line in lines)
    headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/x-ndjson"}
    return live.http.post(f"/parks/{live.park}/batch", content=body, headers=headers)


THUNDER = {"command": "park/record-thunder", "body": {"flash_to_bang_s": 22}}
LEFT = {"command": "registration/record-left", "body": {"player": "player-nobody"}}


def test_a_device_is_invited_by_a_code_that_is_shown_large_and_once(page, live):
    code = invite(page, "gate-7", "staging", "desk", station="gate-north")
    shoot(page, "code")
    assert page.locator("#code-itself").evaluate("made => parseFloat(getComputedStyle(made).fontSize)") >= 64
    expect(page.locator("#code-until")).to_contain_text("It works until")
    expect(card(page, "gate-7").locator(".state")).to_have_text("○ INVITED, not enrolled yet", timeout=WITHIN)
    page.get_by_role("button", name="take it away").tap()
    assert code not in page.content()
    answer = enrol(live, code).json()
    assert (answer["roles"], answer["station"]) == (["desk", "staging"], "gate-north")
    expect(card(page, "gate-7").locator(".state")).to_have_text("● ENROLLED", timeout=WITHIN)
    assert asks(live, answer["key"]) == 404


def test_an_invitation_for_nothing_is_not_sent(page):
    page.click("#invite")
    page.fill("#device", "gate-7")
    page.get_by_role("button", name="Make a code").tap()
    expect(page.locator("#problem")).to_contain_text("choose at least one")


def test_a_device_is_revoked_in_two_touches_and_its_key_opens_nothing(page, live):
    key = live.enrol("gate-7", "staging")
    revoke = card(page, "gate-7").get_by_role("button", name="Revoke")
    revoke.tap()
    assert asks(live, key) == 404, "the first touch does nothing yet"
    expect(revoke).to_have_css("color", "rgb(255, 255, 255)")
    shoot(page, "revoke")
    card(page, "gate-7").get_by_role("button", name="stolen").tap()
    expect(card(page, "gate-7").locator(".state")).to_contain_text("✖ REVOKED", timeout=WITHIN)
    assert asks(live, key) == 401
    expect(page.locator("#done")).to_contain_text("gate-7 is revoked")


def test_it_can_be_done_by_keyboard_alone_and_escape_takes_the_first_touch_back(page, live):
    key = live.enrol("gate-7", "staging")
    revoke = card(page, "gate-7").get_by_role("button", name="Revoke")
    revoke.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    expect(card(page, "gate-7").get_by_role("button", name="lost")).to_have_count(0)
    expect(revoke).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    expect(card(page, "gate-7").get_by_role("button", name="lost")).to_be_focused()
    page.keyboard.press("Enter")
    expect(card(page, "gate-7").locator(".state")).to_contain_text("✖ REVOKED", timeout=WITHIN)
    assert asks(live, key) == 401


def test_it_shows_what_a_device_said_of_itself_and_the_numbers_that_never_came(page, live):
    key = live.enrol("gate-7", "staging")
    told = {"Authorization": f"Bearer {key}", "Device-Version": "2026.5", "Device-Time": "2020-01-01T00:00:00Z"}
    live.http.get(f"/parks/{live.park}/registration/players?armband=1", headers=told)
    send_batch(live, key, {"seq": 1, **THUNDER}, {"seq": 4, **THUNDER})
    made = card(page, "gate-7")
    expect(made).to_contain_text("2026.5", timeout=WITHIN)
    expect(made).to_contain_text("up to 4; MISSING 2 to 3", timeout=WITHIN)
    expect(made.locator("dd.warn", has_text="behind")).to_be_visible()
    shoot(page, "list")


def group(page, device):
    """The device's only group, opened."""
    made = page.locator(f'[data-aside="{device}"]')
    made.get_by_role("button", name="Look").tap()
    return made


def test_a_line_that_was_set_aside_is_shown_and_judged(page, live):
    key = live.enrol("gate-7", "staging", "desk")
    verdicts = send_batch(live, key, {"seq": 1, **LEFT}).text
    assert '"set_aside":true' in verdicts
    line = group(page, "gate-7").locator("[data-line]")
    expect(line).to_contain_text("gate-7, number 1", timeout=WITHIN)
    expect(line.locator("pre")).to_contain_text("player-nobody")
    shoot(page, "set-aside")
    line.get_by_role("button", name="record it").tap()
    expect(page.locator("#problem")).to_contain_text("NOT DONE", timeout=WITHIN)
    line.get_by_role("button", name="Leave it unrecorded").tap()
    line.get_by_role("button", name="did not happen").tap()
    expect(page.locator("#aside")).to_be_hidden(timeout=WITHIN)


def revoked(live, *lines):
    """Lines of a device that was revoked before it sent them."""
    key = live.enrol("gate-7", "staging", "desk")
    assert live.post("devices/revoke-device", {"device": "gate-7", "cause": "lost"}).status_code == 201
    send_batch(live, key, *lines)


def types(live, after):
    """What was recorded behind a position, in order."""
    leaves = (live.leaf(position) for position in range(after + 1, live.head() + 1))
    return [json.loads(leaf.split(b"\n", 5)[5])["type"] for leaf in leaves]


def test_what_a_revoked_device_still_sends_waits_and_is_recorded_on_a_persons_word(page, live):
    revoked(live, {"seq": 1, **THUNDER})
    made = group(page, "gate-7")
    expect(made).to_contain_text("device revoked", timeout=WITHIN)
    before = live.head()
    made.get_by_role("button", name="record it").tap()
    expect(page.locator("#aside")).to_be_hidden(timeout=WITHIN)
    told = types(live, before)
    assert (told[0], told[-1]) == ("park.thunder_heard", "devices.line_accepted")


def test_many_are_seen_at_a_glance_and_judged_at_once_and_one_that_is_refused_again_stays_and_says_why(page, live):
    revoked(live, *({"seq": 1 + at, **THUNDER} for at in range(520)), {"seq": 521, **LEFT})
    made = page.locator('[data-aside="gate-7"]')
    expect(page.locator("#to-judge")).to_have_text("▲ 521 lines to judge", timeout=WITHIN)
    page.tap("#to-judge")
    expect(made).to_be_in_viewport()
    expect(made).to_contain_text("gate-7: 521 lines to judge")
    expect(made).to_contain_text("521 \N{MULTIPLICATION SIGN} device revoked, numbers 1 to 521, came ")
    expect(made.locator("[data-line]")).to_have_count(0)
    group(page, "gate-7")
    expect(made.locator("[data-line]")).to_have_count(200, timeout=WITHIN)
    expect(made).to_contain_text("321 lines more of this group")
    made.scroll_into_view_if_needed()
    shoot(page, "many", whole=False)
    made.get_by_role("button", name="record them").tap()
    before = live.head()
    made.get_by_role("button", name="yes, they happened").tap()
    expect(page.locator("#done")).to_contain_text("520 lines of gate-7 recorded", timeout=WITHIN)
    expect(page.locator("#done")).to_be_in_viewport()
    expect(made.locator("[data-line]")).to_have_count(1, timeout=WITHIN)
    expect(made.locator(".again")).to_contain_text("Refused again: The record knows no player")
    shoot(page, "refused-again")
    assert types(live, before).count("park.thunder_heard") == 520


def test_only_the_numbers_that_were_typed_are_judged_and_what_was_typed_stays_while_the_list_moves(page, live):
    revoked(live, *({"seq": 1 + at, **THUNDER} for at in range(9)))
    made = group(page, "gate-7")
    made.get_by_label("first number").fill("3")
    made.get_by_label("last number").fill("5")
    send_batch(live, live.enrol("gate-8", "desk"), {"seq": 1, **LEFT})
    expect(page.locator('[data-aside="gate-8"]')).to_be_visible(timeout=WITHIN)
    expect(made.get_by_label("first number")).to_have_value("3")
    made.get_by_role("button", name="Leave them unrecorded").tap()
    before = live.head()
    made.get_by_role("button", name="did not happen").tap()
    expect(page.locator("#done")).to_contain_text("3 lines of gate-7 left unrecorded", timeout=WITHIN)
    expect(made).to_contain_text("6 \N{MULTIPLICATION SIGN} device revoked", timeout=WITHIN)
    assert types(live, before) == ["devices.line_dismissed"] * 3


def test_without_the_network_it_says_so_and_that_nothing_was_revoked(page, live):
    key = live.enrol("gate-7", "staging")
    expect(card(page, "gate-7")).to_be_visible(timeout=WITHIN)
    card(page, "gate-7").get_by_role("button", name="Revoke").tap()
    page.context.set_offline(True)
    card(page, "gate-7").get_by_role("button", name="stolen").tap()
    expect(page.locator("#problem")).to_be_visible(timeout=WITHIN)
    expect(page.locator("#as-of")).to_contain_text("NOT CONNECTED", timeout=WITHIN)
    assert asks(live, key) == 404
    page.context.set_offline(False)
    expect(page.locator("#as-of")).to_contain_text("●", timeout=WITHIN)
    expect(page.locator("#problem")).to_contain_text("NOT DONE: Revoking gate-7")
    card(page, "gate-7").get_by_role("button", name="stolen").tap()
    expect(card(page, "gate-7").locator(".state")).to_contain_text("✖ REVOKED", timeout=WITHIN)
    assert asks(live, key) == 401


def test_a_wrong_key_and_a_key_without_the_right_are_told_so(browser, live):
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{live.url}/parks/{live.park}/devices/page")
    sign_in(page, "office.wrong")
    expect(page.locator("#problem")).to_contain_text("no key of this park", timeout=WITHIN)
    sign_in(page, live.enrol("desk-1", "desk"))
    expect(page.locator("#problem")).to_contain_text("for desk", timeout=WITHIN)
    context.close()


def station(browser, live, path):
    """A station's page on another device."""
    page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
    page.set_default_timeout(WITHIN)
    page.goto(f"{live.url}/parks/{live.park}/{path}")
    return page


def test_a_code_opens_the_page_of_a_station_and_becomes_its_key(browser, page, live):
    code = invite(page, "counter-9", "gear")
    counter = station(browser, live, "equipment/counter")
    counter.fill("#key", code.lower().replace("-", " "))
    counter.keyboard.press("Enter")
    expect(counter.locator("#new-key")).to_be_visible(timeout=WITHIN)
    key = counter.inner_text("#new-key")
    assert key.startswith("counter-9.")
    shoot(counter, "key-shown-once")
    counter.keyboard.press("Enter")
    expect(counter.locator("#link")).to_have_text("● live", timeout=WITHIN)
    expect(counter.locator("#new-key")).to_have_count(0)
    assert asks(live, key) == 404, "the key opens the park, where nobody has that armband"
    counter.context.close()

    again = station(browser, live, "registration/desk")
    sign_in(again, code)
    expect(again.locator("#problem")).to_contain_text("has been used", timeout=WITHIN)
    expect(again.locator("#sign-in")).to_be_visible()
    sign_in(again, "K7QF3-M2W9T")
    expect(again.locator("#problem")).to_contain_text("code", timeout=WITHIN)
    again.context.close()
