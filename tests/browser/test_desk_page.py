"""The desk's page in a real browser: a clerk with a scanner, a keyboard, a family before him, and a network that comes and goes."""

import itertools
import os
import re
from base64 import b64decode, b64encode
from pathlib import Path

import httpx
import msgspec
import numpy as np
import pytest
import zxingcpp
from playwright.sync_api import expect

from contracts.passes import PassKeys, read_pass
from tests.browser.keys import Keys
from tests.browser.server import Server
from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(240)
WITHIN = 8_000
"""Milliseconds in which what a test waits for must come about."""
SHOTS = os.environ.get("DESK_SHOTS", "")
"""A folder for pictures of the page, for whoever wants to look."""
parks = itertools.count(1)


@pytest.fixture(scope="module")
def server(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, f"deskmoor-{next(parks)}")
    yield server
    server.down()


@pytest.fixture
def day(server):
    """The park; up again, where a test took it down."""
    if not hasattr(server, "day"):
        server.day = BoardDay(server.up())
        server.day.open("birch")
    return server.day


class Desk:
    """The page as its clerk uses it: by keyboard alone."""

    def __init__(self, page, day, server):
        self.page, self.day, self.server = page, day, server
        self.complaints = []
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("console", self._console)
        page.add_init_script("window.printed = 0; window.print = () => { window.printed += 1; };")
        page.goto(f"{day.live.url}/parks/{day.live.park}/registration/desk")
        self.keys = Keys(page)
        page.fill("#key", day.live.keys["everything"])
        page.keyboard.press("Enter")
        page.wait_for_selector("#desk:not([hidden])")
        page.wait_for_selector("#said:focus", timeout=3_000)  # before the first answer that the page waits for

    def _console(self, message):
        """Whatever a browser says of a network that is away is no fault of the page."""
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.complaints.append(message.text)

    def letter(self, letter):
        self.keys.type(letter, "Enter")

    def fill(self, *entries):
        """One entry a control, from the one that has the focus on; an empty one leaves it as it is. Enter at the end."""
        for at, entry in enumerate(entries):
            self.keys.type(entry, "Tab" if at < len(entries) - 1 else "")
        self.keys.wait(400)
        self.page.keyboard.press("Enter")

    def register(self, age, armband, name="", part=""):
        """Age, part, armband, name; the rest stays as it is."""
        self.letter("N")
        expect(self.page.locator("#panel-age")).to_be_focused(timeout=WITHIN)
        self.fill(age, part, str(armband) if armband else "", name)

    def card(self, armband):
        return self.page.locator(".card").filter(has=self.page.get_by_text(re.compile(rf"^Armband{armband}$")))

    def says(self, where, words):
        expect(self.page.locator(where) if isinstance(where, str) else where).to_contain_text(words, timeout=WITHIN)

    def picture(self, name):
        if SHOTS:
            self.page.wait_for_timeout(150)
            self.page.screenshot(path=Path(SHOTS) / f"{name}.png", full_page=True)


@pytest.fixture
def desk(browser, day, server):
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    desk = Desk(context.new_page(), day, server)
    yield desk
    assert desk.complaints == []
    context.close()


def test_a_family_of_two_with_a_minor_is_registered_and_cleared_at_the_desk_by_keyboard_alone(desk):
    desk.picture("01-empty")
    desk.register("18", 21, "Rowan")
    desk.says("#read", "Armband 21 is registered.")
    desk.register("12", 22, "Ash")
    desk.says(desk.card(22), "MINOR")
    desk.says(desk.card(22), "Your own parent or legal guardian has not consented.")
    desk.picture("02-registered")
    desk.letter("W")
    desk.page.keyboard.press("Enter")
    desk.says("#read", "Recorded")
    desk.letter("G")
    desk.fill("", "", "parent", "")
    desk.letter("P")
    desk.picture("03-payment")
    desk.fill("", "", "", "", "58")
    desk.says("#read", "Recorded.")
    desk.letter("B")
    desk.page.keyboard.press("Enter")
    desk.says("#read", "Recorded.")
    desk.says(desk.card(21), "Rowan")
    for armband in (21, 22):
        expect(desk.card(armband).locator(".here")).to_have_count(0, timeout=WITHIN)
        desk.says(desk.card(armband), "gear counter")
    for card in (desk.card(21), desk.card(22)):
        player, mask = card.get_attribute("data-player"), desk.day.name("mask")
        desk.day.send("equipment/register-mask", {"mask": mask, "model": "Visor"})
        desk.day.send("equipment/issue-gear", {"player": player, "mask": mask, "marker": desk.day.marker(270.0)})
        desk.says(card, "CLEARED")
    expect(desk.page.locator(".card.cleared")).to_have_count(2, timeout=WITHIN)
    desk.picture("04-cleared")


def test_an_age_is_typed_in_years_and_its_band_is_kept(desk):
    desk.register("11", 201)
    desk.says(desk.card(201), "10 to 11")
    desk.register("130", 202)
    desk.says("#problem", "130 is no age")
    desk.page.keyboard.press("Escape")


def test_an_armband_that_is_worn_already_is_said_to_be_and_another_is_taken(desk):
    desk.register("30", 203)
    desk.says("#read", "Armband 203 is registered.")
    desk.register("31", 203)
    desk.says("#problem", "Armband 203 is worn by someone else today. Take another.")
    desk.page.fill("#panel-armband", "204")
    desk.page.keyboard.press("Enter")
    desk.says("#read", "Armband 204 is registered.")


def test_whoever_is_not_found_is_sent_nowhere_but_registered_here(desk):
    desk.keys.type("9998", "Enter")
    desk.says("#problem", "Nobody has armband 9998 today. Look again; whoever is new here is registered with N.")


def test_what_is_no_code_of_the_park_is_said_to_be_nobodys_in_words_of_the_desk(desk):
    for nonsense in ("https://fernmoor.example/ticket?seat=7", "two words"):
        desk.keys.scan(nonsense)
        desk.says("#problem", "Nobody has pass")
        expect(desk.page.locator("#problem")).not_to_contain_text("day_pass")


def test_a_refusal_is_seen_however_far_down_the_list_the_clerk_is_and_the_whole_panel_is_in_reach(desk):
    for number in range(301, 309):
        desk.day.arrive(f"p{number}", number)
        desk.letter(str(number))
        desk.says(desk.card(number), "NOT CLEARED")
    desk.page.set_viewport_size({"width": 1024, "height": 768})
    desk.letter("N")
    expect(desk.page.locator("#panel-age")).to_be_focused(timeout=WITHIN)
    desk.page.locator("#panel button.do").scroll_into_view_if_needed()
    expect(desk.page.locator("#panel button.do")).to_be_in_viewport()
    assert desk.page.evaluate("scrollY + innerHeight < document.body.scrollHeight"), "without the end of the list"
    desk.page.keyboard.press("Escape")
    desk.page.evaluate("scrollTo(0, document.body.scrollHeight)")
    desk.keys.type("9997", "Enter")
    desk.says("#problem", "Nobody has armband 9997 today")
    expect(desk.page.locator("#problem")).to_be_in_viewport()


def test_a_park_that_has_never_answered_is_said_to_be_silent(desk):
    desk.page.route("**/registration/desk-list*", lambda route: route.abort())
    desk.page.click("#forget")
    desk.page.reload()
    desk.page.fill("#key", desk.day.live.keys["everything"])
    desk.page.keyboard.press("Enter")
    desk.says("#link", "NOT CONNECTED: nothing is heard from the park yet")


def test_an_adult_who_stays_outside_signs_for_a_child(desk):
    desk.register("18", "", "", "a")
    desk.says("#read", "signs, and does not enter")
    desk.register("10", 32)
    desk.says(desk.card(32), "MINOR")
    desk.letter("G")
    desk.fill("", "", "legal", "")
    expect(desk.card(32).get_by_text("parent or legal guardian has not consented")).to_have_count(0, timeout=WITHIN)
    story = desk.day.live.get(
        f"/parks/{desk.day.live.park}/registration/desk-list?players={desk.card(32).get_attribute('data-player')}"
    )
    (child,) = story.json()["players"]
    assert child["adults"] == [desk.page.locator(".signer").get_attribute("data-person")]


def test_a_scanned_pass_brings_its_player_and_a_wrong_one_says_why(desk):
    desk.day.arrive("sam", 41)
    desk.keys.scan(scanned(desk, "pass-sam"))
    desk.says(desk.card(41), "NOT CLEARED")
    desk.keys.scan(scanned(desk, "pass-sam")[:-1] + "7")
    desk.says("#problem", "This is no genuine pass")
    desk.keys.scan("LX-unheard-of")
    desk.says("#problem", "Nobody has pass LX-unheard-of today")
    desk.letter("41")
    desk.says("#read", "Armband 41 is on the list.")
    expect(desk.page.locator("#problem")).to_be_hidden()


def test_a_pass_given_anew_is_printed_and_the_old_one_is_taken_away(desk):
    desk.day.arrive("tam", 43)
    old = scanned(desk, "pass-tam")
    desk.letter("43")
    desk.says(desk.card(43), "pass pass-tam")
    desk.letter("R")
    desk.keys.scan("STOCK-0043")
    desk.says("#read", "Pass STOCK-0043 will be given")
    assert desk.page.input_value("#panel-code") == "STOCK-0043"
    desk.keys.wait(400)
    desk.page.keyboard.press("Enter")
    desk.says(desk.card(43), "pass STOCK-0043")
    desk.keys.scan(old)
    desk.says("#problem", "was replaced by a newer one. Take it away")


def test_the_sheet_on_paper_is_read_back_by_a_scanner_and_names_nobody(desk):
    desk.register("18", 51, "Hazel")
    desk.says(desk.card(51), "Hazel")
    desk.register("14", 52)
    desk.says(desk.card(52), "MINOR")
    desk.letter("S")
    desk.says("#read", "2 passes to the printer.")
    assert desk.page.evaluate("window.printed") == 1
    desk.page.emulate_media(media="print")
    picture = desk.page.locator("#paper").screenshot()
    if SHOTS:
        (Path(SHOTS) / "05-sheet.png").write_bytes(picture)
    words = desk.page.locator("#paper").inner_text()
    desk.page.emulate_media(media="screen")
    assert "Hazel" not in words
    assert words.count("Eye protection on, always, inside the netting.") == 2
    known = keys_of(desk)
    read = [
        read_pass(one.text, known.park, known.day, known.keys) for one in zxingcpp.read_barcodes(grey(desk, picture))
    ]
    codes = [re.search(r"pass (\S+)", desk.card(armband).inner_text())[1] for armband in (51, 52)]
    assert sorted(read) == sorted(codes)


def test_what_is_recorded_without_the_network_waits_and_is_sent_and_what_is_asked_for_says_that_it_needs_it(desk):
    desk.day.arrive("uma", 61)
    desk.letter("61")
    desk.says(desk.card(61), "You have not signed the waiver.")
    desk.page.context.set_offline(True)
    desk.letter("W")
    desk.page.keyboard.press("Enter")
    desk.letter("B")
    desk.page.keyboard.press("Enter")
    desk.says("#link", "NOT CONNECTED")
    desk.says("#link", "2 not sent yet: kept, and sent in order")
    desk.says(desk.card(61), "Recorded here, not seen by the park yet: waiver, briefing.")
    desk.letter("63")
    desk.says("#problem", "Looking up a pass or an armband needs the network")
    expect(desk.page.locator("#problem")).not_to_contain_text("stays here")
    desk.register("18", 62)
    desk.says("#problem", "Registering somebody needs the network")
    desk.says("#problem", "What you entered stays here")
    assert desk.page.input_value("#panel-armband") == "62"
    desk.picture("06-cut")
    assert {"waiver_missing", "briefing_missing"} <= lacking(desk, "uma")
    desk.page.context.set_offline(False)
    expect(desk.page.locator("#link")).to_have_text("● live", timeout=15_000)
    desk.says(desk.card(61), "NOT CLEARED")
    assert not {"waiver_missing", "briefing_missing"} & lacking(desk, "uma")
    desk.page.focus("#panel-armband")
    desk.page.keyboard.press("Enter")
    desk.says(desk.card(62), "NOT CLEARED")


def test_what_a_key_may_not_record_stays_in_the_line_and_is_not_said_to_be_unrecorded(desk):
    desk.day.arrive("wes", 65)
    desk.letter("65")
    desk.says(desk.card(65), "You have not signed the waiver.")
    no = {"type": "/problems/not-allowed", "status": 403, "detail": "This device's key is for gear."}
    desk.page.route("**/registration/sign-waiver", lambda route: route.fulfill(status=403, json=no))
    desk.letter("W")
    desk.page.keyboard.press("Enter")
    expect(desk.page.locator("#sign-in")).to_be_visible(timeout=WITHIN)
    desk.says("#problem", "This device's key is for gear. 1 recorded on device-everything not sent: kept in this tab")
    assert "waiver_missing" in lacking(desk, "wes")
    desk.page.unroute("**/registration/sign-waiver")
    desk.page.fill("#key", desk.day.live.keys["everything"])
    desk.page.keyboard.press("Enter")
    expect(desk.page.locator("#link")).to_have_text("● live", timeout=WITHIN)
    assert "waiver_missing" not in lacking(desk, "wes")


def test_an_answer_that_is_lost_on_its_way_registers_nobody_twice(desk):
    lose = [True]

    def once(route):
        if lose and route.request.method == "POST":
            lose.pop()
            route.fetch()
            route.abort()
        else:
            route.continue_()

    desk.page.route("**/registration/register-p*", once)
    before = desk.day.live.head()
    desk.register("18", 71)
    desk.says("#problem", "Registering somebody needs the network")
    desk.page.focus("#panel-armband")
    desk.page.keyboard.press("Enter")
    desk.says(desk.card(71), "NOT CLEARED")
    assert desk.day.live.head() == before + 2


def test_facts_outlast_a_server_that_goes_down_and_a_page_that_is_loaded_anew(desk):
    desk.day.arrive("vic", 81)
    desk.letter("81")
    desk.says(desk.card(81), "You have not signed the waiver.")
    desk.server.down()
    desk.letter("W")
    desk.page.keyboard.press("Enter")
    desk.says("#link", "1 not sent yet")
    desk.day.live = desk.server.up()
    desk.page.reload()
    expect(desk.page.locator("#link")).to_have_text("● live", timeout=20_000)
    desk.says(desk.card(81), "NOT CLEARED")
    expect(desk.card(81).get_by_text("You have not signed the waiver.")).to_have_count(0, timeout=WITHIN)
    assert "waiver_missing" not in lacking(desk, "vic")


def test_a_name_is_in_the_vault_and_never_kept_by_the_browser(desk):
    desk.register("18", 91, "Bramble Underhill")
    desk.says(desk.card(91), "Bramble Underhill")
    person = desk.card(91).get_attribute("data-person")
    report = desk.day.live.get(f"/parks/{desk.day.live.park}/vault/persons/{person}").json()
    assert [one["text"] for one in report["details"]] == ["Bramble Underhill"]
    stores = desk.page.evaluate("JSON.stringify([{...sessionStorage}, {...localStorage}])")
    assert "Bramble" not in stores
    desk.letter("D")
    desk.says("#people", "Nobody is on the list")
    desk.letter("91")
    desk.says(desk.card(91), "NOT CLEARED")
    assert "Bramble" not in desk.page.locator("body").inner_text()


def test_a_key_that_may_not_register_is_turned_away(browser, day):
    gear = day.live.enrol("gear-tablet", "gear")
    page = browser.new_context().new_page()
    page.goto(f"{day.live.url}/parks/{day.live.park}/registration/desk")
    page.fill("#key", gear)
    page.keyboard.press("Enter")
    expect(page.locator("#problem")).to_contain_text("This device's key is for gear", timeout=WITHIN)
    expect(page.locator("#desk")).to_be_hidden()
    page.context.close()


def grey(desk, png):
    """A picture's pixels as grey values, decoded by the browser that took it."""
    told = desk.page.evaluate(
        """async (png) => {
          const bytes = Uint8Array.from(atob(png), (one) => one.charCodeAt(0));
          const bitmap = await createImageBitmap(new Blob([bytes], { type: "image/png" }));
          const context = new OffscreenCanvas(bitmap.width, bitmap.height).getContext("2d");
          context.drawImage(bitmap, 0, 0);
          const { data } = context.getImageData(0, 0, bitmap.width, bitmap.height);
          const greys = Array.from({ length: data.length / 4 }, (_, at) => String.fromCharCode(data[4 * at + 1]));
          return [bitmap.height, bitmap.width, btoa(greys.join(""))];
        }""",
        b64encode(png).decode(),
    )
    return np.frombuffer(b64decode(told[2]), np.uint8).reshape(told[0], told[1])


def keys_of(desk):
    answer = httpx.get(f"{desk.day.live.url}/parks/{desk.day.live.park}/passes/keys")
    return msgspec.json.decode(answer.content, type=PassKeys)


def scanned(desk, code):
    """What a scanner reads off a pass with this code that the park printed today."""
    live = desk.day.live
    return live.running.app.state.passes[live.park].text(code, keys_of(desk).day)


def lacking(desk, player):
    answer = desk.day.live.get(f"/parks/{desk.day.live.park}/clearance/players/{player}?field=birch")
    return {one["code"] for one in answer.json()["reasons"]}


def test_the_page_fits_a_tablet_upright_and_across(browser, day, server):
    for width, height in ((1024, 768), (768, 1024)):
        context = browser.new_context(viewport={"width": width, "height": height})
        desk = Desk(context.new_page(), day, server)
        desk.letter("N")
        expect(desk.page.locator("#panel-age")).to_be_focused(timeout=WITHIN)
        desk.picture(f"07-tablet-{width}")
        assert desk.page.evaluate("document.documentElement.scrollWidth") <= width
        small = desk.page.locator("button:visible, input:visible:not([type=checkbox]), select:visible").evaluate_all(
            "(some) => some.filter((one) => one.getBoundingClientRect().height < 48).length"
        )
        assert small == 0
        assert desk.complaints == []
        context.close()
