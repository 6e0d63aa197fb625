"""The bench's page in a real browser: a person at the chronograph with a queue before him, and an instrument that posts by itself."""

import itertools
import json
import os
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.server import Server
from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(240)
SIZES = {"bench": (1280, 800), "tablet": (1024, 768)}
WITHIN = 8_000
"""Milliseconds in which what a test waits for must come about."""
SHOTS = os.environ.get("BENCH_SHOTS", "")
"""A folder for pictures of the page, for whoever wants to look."""
parks = itertools.count(1)


@pytest.fixture(scope="module")
def server(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, f"sunmoor-{next(parks)}")
    yield server
    server.down()


@pytest.fixture(scope="module")
def day(server):
    day = BoardDay(server.up())
    day.open("birch")
    fern = {"field": "fern", "title": "Fern", "limit_fps": 230, "stop_limit_fps": 250}
    day.send("games/configure-field", fern)
    return day


class Bench:
    """The page as the person at one chronograph uses it."""

    def __init__(self, page, day, *, checked=True):
        self.page, self.day = page, day
        self.complaints = []
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("console", self._console)
        self.chrono = day.name("chrono")
        day.send("velocity/register-chrono", {"chrono": self.chrono})
        if checked:
            self.check([280.2, 281.0, 281.9], [280.0, 281.0, 282.0])
        page.goto(f"{day.live.url}/parks/{day.live.park}/velocity/bench?chrono={self.chrono}")

    def _console(self, message):
        """Whatever a browser says of a network that is away is no fault of the page."""
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.complaints.append(message.text)

    def check(self, readings, references):
        self.day.send(
            "velocity/check-chrono", {"chrono": self.chrono, "readings_fps": readings, "reference_fps": references}
        )

    def sign_in(self, key=None):
        self.page.fill("#key", key or self.day.live.keys["everything"])
        self.page.keyboard.press("Enter")

    def ready(self):
        self.sign_in()
        self.page.wait_for_selector("#bench:not([hidden])")
        self.page.wait_for_selector("#said:focus")
        return self

    def marker(self):
        marker = self.day.name("H")
        self.day.send("equipment/register-marker", {"marker": marker, "model": "Heron"})
        return marker

    def enter(self, *entries):
        """By keyboard alone: whatever is typed goes where the person is."""
        for entry in entries:
            self.page.keyboard.type(entry)
            self.page.keyboard.press("Enter")

    def post(self, text):
        """As an instrument does, past the page."""
        headers = self.day.live.headers(content_type="text/plain")
        path = f"/parks/{self.day.live.park}/velocity/lines/{self.chrono}"
        answer = self.day.live.http.post(path, content=text.encode(), headers=headers)
        assert answer.status_code == 200, answer.text

    def says(self, selector, words):
        expect(self.page.locator(selector)).to_contain_text(words, timeout=WITHIN)

    def word(self, words):
        self.says("#verdict strong", words)

    def state(self, kind):
        self.page.wait_for_selector(f"#verdict.{kind}", timeout=WITHIN)

    def shots(self):
        return [" ".join(one.split()) for one in self.page.locator("#shots li").all_inner_texts()]

    def picture(self, name):
        if SHOTS:
            self.page.wait_for_timeout(150)
            self.page.screenshot(path=Path(SHOTS) / f"{name}.png")


@pytest.fixture
def page_at(browser):
    """Pages of any size."""
    contexts = []

    def make(width, height):
        contexts.append(browser.new_context(viewport={"width": width, "height": height}))
        return contexts[-1].new_page()

    yield make
    for context in contexts:
        context.close()


@pytest.fixture
def bench(page_at, day):
    bench = Bench(page_at(*SIZES["bench"]), day).ready()
    yield bench
    assert bench.complaints == []


def test_a_string_by_keyboard_alone_from_the_scan_to_a_pass(bench):
    marker = bench.marker()
    bench.picture("01-idle")
    bench.page.select_option("#field", "birch")
    bench.enter(marker)
    bench.says("#who h2", marker)
    bench.word("SHOOT")
    bench.enter("270", "272.5")
    bench.says("#verdict p", "One reading to come")
    bench.picture("02-open")
    bench.enter("271")
    bench.word("PASS")
    bench.state("pass")
    assert bench.page.inner_text("#number output") == "271"
    assert bench.shots() == ["270", "272.5", "271"]
    assert bench.page.locator("#fields li").all_inner_texts() == ["Birch 285 ft/s: pass"]
    bench.picture("03-pass")


def test_a_fast_one_is_turned_down_by_about_how_much_its_adjuster_turned_and_shot_again(bench):
    marker = bench.marker()
    bench.page.select_option("#field", "birch")
    bench.enter(marker, "292", "296", "294")
    bench.word("TURN DOWN 16 ft/s")
    bench.says("#verdict p", "Turn down by about 16 ft/s for 285 ft/s")
    bench.picture("04-turn-down")
    bench.enter("T")
    bench.word("SHOOT")
    bench.says("#who h2", marker)
    bench.enter("276", "278", "277")
    bench.word("PASS")
    story = bench.day.live.get(f"/parks/{bench.day.live.park}/audit/stories/marker/{marker}").json()["events"]
    kinds = [event["type"] for event in story]
    assert kinds.count("velocity.marker_tested") == 2
    assert kinds.index("velocity.set_up_changed") > kinds.index("velocity.marker_tested")


def test_a_string_stays_open_on_the_page_when_the_park_tells_something_while_its_opening_is_under_way(bench):
    """Its answer comes between two answers of the bench, and until the second one only the page knows of it."""
    opening, following = [], []
    marker = bench.marker()
    bench.page.route("**/velocity/open-string", lambda route: opening.append(route))  # noqa: PLW0108 - a built-in cannot be a handler
    bench.enter(marker)
    bench.says("#link", "1 not sent yet")
    bench.page.route("**/velocity/bench/*after=*", lambda route: following.append(route))  # noqa: PLW0108
    with bench.page.expect_response("**/velocity/bench/*after=*"):
        bench.check([280.2, 281.0, 281.9], [280.0, 281.0, 282.0])
    opening[0].continue_()
    expect(bench.page.locator("#link")).to_have_text("● live", timeout=WITHIN)
    assert len(following) == 1, "nothing newer has been told yet"
    bench.enter("270")
    bench.says("#verdict p", "2 readings to come")
    following[0].continue_()
    assert bench.page.locator("#problem").is_hidden()


def test_for_every_field_it_says_for_which_it_passes(bench):
    bench.enter(bench.marker(), "240", "241", "242")
    bench.word("PASS FOR SOME")
    expect(bench.page.locator("#fields li")).to_have_text(
        ["Birch 285 ft/s: pass", "Fern 230 ft/s: turn down 17 ft/s"], timeout=WITHIN
    )
    bench.picture("05-some")


def test_readings_that_an_instrument_posts_appear_by_themselves(bench):
    marker = bench.marker()
    bench.enter(marker)
    bench.word("SHOOT")
    bench.post("221.5 fps\n-- beam lost\n")
    expect(bench.page.locator("#shots li")).to_have_count(4, timeout=2000)
    assert bench.shots() == ["221.5", "--- beam lost", "· to come", "· to come"]
    bench.picture("06-misread")
    bench.post("222 fps\n301 fps -- double trigger\n223 fps")
    bench.state("inconclusive")
    bench.says("#verdict p", "a misread was too fast to be left out")
    bench.picture("07-nothing-decided")
    bench.post("299 fps")
    bench.says("#strays", "299: on the record, and counted for no marker")


def test_a_misread_is_marked_in_two_touches_or_by_its_letter_and_number(bench):
    bench.enter(bench.marker(), "240", "M")
    bench.page.click("[data-misread=beam_lost]")
    bench.enter("m2 250")
    expect(bench.page.locator("#shots .misread")).to_have_count(2, timeout=WITHIN)
    bench.enter("241", "242")
    bench.state("some")
    assert bench.shots() == ["240", "--- beam lost", "250 double trigger", "241", "242"]


def test_low_pressure_ends_the_string_and_decides_nothing(bench):
    bench.enter(bench.marker(), "200", "L")
    bench.word("NOTHING DECIDED")
    bench.says("#verdict p", "the pressure was low")


def test_the_next_markers_name_ends_the_string_that_is_open(bench):
    first, second = bench.marker(), bench.marker()
    bench.enter(first, "220")
    bench.says("#shots", "220")
    bench.enter(second)
    bench.says("#who h2", second)
    bench.says("#before", f"{first}: NOTHING DECIDED")


def test_an_unknown_marker_is_told_in_a_sentence_and_nothing_is_kept_of_it(bench):
    bench.enter(bench.marker(), "220", "221", "222")
    bench.state("pass")
    bench.enter("H-nobody")
    bench.says("#problem", "knows no marker H-nobody")
    bench.word("NO STRING")
    bench.says("#who h2", "Marker H-nobody")
    expect(bench.page.locator("#shots li")).to_have_count(0)
    bench.enter("270")
    bench.says("#problem", "No string is open, so 270 was taken for a marker.")
    bench.enter(bench.marker())
    bench.word("SHOOT")
    expect(bench.page.locator("#problem")).to_be_hidden()


@pytest.mark.parametrize("offline", [False, True])
def test_what_is_shot_after_an_unknown_marker_was_scanned_is_never_of_the_one_before(bench, offline):
    marker = bench.marker()
    bench.enter(marker, "220")
    bench.says("#shots", "220")
    bench.page.context.set_offline(offline)
    bench.enter("H-nobody")
    if offline:
        bench.enter("230")
        bench.page.context.set_offline(False)
        bench.says("#problem", "knows no marker H-nobody")
    else:
        bench.says("#problem", "knows no marker H-nobody")
        bench.post("230 fps")
    bench.says("#strays", "230: on the record, and counted for no marker")
    bench.post("231 fps")
    bench.says("#strays", "230, 231")
    bench.word("NO STRING")
    story = bench.day.live.get(f"/parks/{bench.day.live.park}/audit/stories/marker/{marker}").json()["events"]
    tests = [event["data"]["readings_fps"] for event in story if event["type"] == "velocity.marker_tested"]
    assert tests == [[220.0]]


def test_what_decided_nothing_is_shot_again_without_saying_that_anything_was_turned(bench):
    marker = bench.marker()
    bench.enter(marker, "200", "L")
    bench.word("NOTHING DECIDED")
    assert "loud" in bench.page.get_attribute("[data-act=again]", "class")
    assert bench.page.get_attribute("[data-act=adjusted]", "class") is None
    bench.enter("R")
    bench.word("SHOOT")
    bench.enter("220", "221", "222")
    bench.state("pass")
    bench.says("#who h2", marker)
    story = bench.day.live.get(f"/parks/{bench.day.live.park}/audit/stories/marker/{marker}").json()["events"]
    assert "velocity.set_up_changed" not in [event["type"] for event in story]


def test_an_entry_that_can_be_nothing_is_told_in_the_benchs_words_and_not_sent(bench):
    sent = []
    bench.page.on("request", lambda request: sent.append(request) if request.method == "POST" else None)
    bench.enter("two words")
    bench.says("#hint", "neither a reading nor a marker's name")
    bench.enter(bench.marker())
    bench.word("SHOOT")
    before = len(sent)
    bench.enter("2700")
    bench.says("#hint", "No shot is as fast as 2700")
    assert len(sent) == before == 1


@pytest.mark.parametrize("size", SIZES.values())
def test_nothing_on_the_page_covers_another_thing_while_a_string_is_open_or_the_chronograph_is_closed(
    page_at, day, size
):
    bench = Bench(page_at(*size), day).ready()
    parts = """() => { const boxes = ['who', 'number', 'verdict', 'shots', 'fields'].map((id) => document.getElementById(id));
        const [who, number, verdict, shots, fields] = boxes.map((one) => one.getBoundingClientRect());
        const digits = document.querySelector('#number output').getBoundingClientRect();
        return who.bottom <= digits.top + 1 && digits.bottom <= shots.top + 1 && verdict.bottom <= shots.top + 1 && shots.bottom <= fields.top + 1
          && document.getElementById('verdict').scrollHeight <= document.getElementById('verdict').clientHeight + 1; }"""
    bench.enter(bench.marker(), "283")
    bench.says("#shots", "283")
    assert bench.page.evaluate(parts)
    bench.check([276.0, 277.0, 278.0], [280.0, 281.0, 282.0])
    bench.page.wait_for_selector("#band.doubted", timeout=WITHIN)
    assert bench.page.evaluate(parts)
    bench.enter("220", "221")
    bench.state("inconclusive")
    assert bench.page.evaluate(parts)


def test_sealed_is_said_and_goes_with_the_string(bench):
    bench.enter("S", bench.marker())
    bench.says("#who p", "sealed")
    bench.enter("220", "221", "222")
    bench.state("pass")
    assert bench.page.get_attribute("[data-act=sealed]", "aria-pressed") == "true"


def test_a_chronograph_that_is_not_trusted_cannot_be_overlooked_and_passes_nothing(bench):
    assert "trusted" in bench.page.get_attribute("#band", "class")
    bench.check([276.0, 277.0, 278.0], [280.0, 281.0, 282.0])
    bench.page.wait_for_selector("#band.doubted", timeout=WITHIN)
    bench.says("#band", f"DO NOT TRUST {bench.chrono}")
    bench.says("#band", "Measure on another chronograph")
    bench.says("#chart-words", "NOT GOOD")
    height = bench.page.evaluate("document.querySelector('#band').getBoundingClientRect().height")
    assert height >= 64
    bench.enter(bench.marker(), "220", "221", "222")
    bench.word("NOTHING DECIDED")
    bench.says("#verdict p", "what measured it could not be trusted")
    bench.picture("08-untrusted")


def test_a_check_is_entered_in_pairs_and_opens_a_chronograph_after_work(bench):
    bench.enter("W1")
    bench.page.wait_for_selector("#band.doubted", timeout=WITHIN)
    bench.enter("C", "280.4 280.0", "281 281.3")
    bench.says("#pairs-words", "1 more")
    assert bench.page.inner_text("#number output") == "281"
    expect(bench.page.locator("#acts button")).to_have_count(0)
    bench.picture("09-check")
    bench.enter("282.1 282.0", "")
    bench.page.wait_for_selector("#band.trusted", timeout=WITHIN)
    expect(bench.page.locator("#check")).to_be_hidden()
    assert bench.page.locator("#chart .good").count() == 1
    bench.says("#chart-words", "good")


def test_a_check_of_too_few_shots_is_shown_as_one_that_decides_nothing(bench):
    bench.enter("C", "280 280", "")
    bench.says("#chart-words", "decides nothing; too few shots")
    assert (bench.page.locator("#chart .bad").count(), bench.page.locator("#chart .word").count()) == (0, 1)
    assert "trusted" in bench.page.get_attribute("#band", "class")


def test_while_a_string_is_open_no_check_is_begun_since_what_is_shot_is_of_its_marker(bench):
    bench.enter(bench.marker(), "220", "C")
    bench.says("#hint", "End it first, with A")
    expect(bench.page.locator("#check")).to_be_hidden()
    bench.enter("A", "C")
    bench.word("CHECK")


def test_a_person_closes_a_chronograph_whatever_it_reads(bench):
    bench.enter("C")
    bench.page.check("#not-good")
    bench.page.focus("#said")
    bench.enter("")
    bench.page.wait_for_selector("#band.doubted", timeout=WITHIN)
    assert bench.page.locator("#chart .bad").count() == 1


def test_what_is_typed_while_the_network_is_away_is_kept_shown_as_unsent_and_recorded_once_it_is_back(bench):
    marker = bench.marker()
    bench.enter(marker, "220")
    expect(bench.page.locator("#shots .reading:not(.pending)")).to_have_count(1, timeout=WITHIN)
    bench.page.context.set_offline(True)
    bench.enter("221", "222")
    bench.page.wait_for_selector("body.stale", timeout=WITHIN)
    bench.says("#link", "NOT CONNECTED")
    bench.says("#link", "2 not sent yet")
    expect(bench.page.locator("#shots .pending")).to_have_count(2)
    bench.picture("10-offline")
    bench.page.context.set_offline(False)
    bench.state("pass")
    bench.page.wait_for_selector("body:not(.stale)", timeout=WITHIN)
    assert bench.shots() == ["220", "221", "222"]


def test_what_is_not_sent_yet_outlasts_a_reload(bench):
    bench.enter(bench.marker(), "220")
    expect(bench.page.locator("#shots .reading:not(.pending)")).to_have_count(1, timeout=WITHIN)
    bench.page.route("**/velocity/take-reading", lambda route: route.abort())
    bench.enter("221", "222")
    bench.says("#link", "2 not sent yet")
    bench.page.unroute("**/velocity/take-reading")
    bench.page.reload()
    bench.state("pass")
    assert bench.shots() == ["220", "221", "222"]


def test_a_server_that_goes_down_and_comes_up_again_is_followed_again(bench, server):
    marker = bench.marker()
    bench.enter(marker, "220")
    bench.says("#shots", "220")
    server.down()
    bench.page.wait_for_selector("body.stale", timeout=WITHIN)
    bench.enter("221")
    bench.day.live = server.up()
    bench.page.wait_for_selector("body:not(.stale)", timeout=WITHIN)
    bench.post("222 fps")
    bench.state("pass")


def test_an_answer_that_was_lost_on_its_way_back_does_not_make_two_readings(bench):
    bench.enter(bench.marker(), "220")
    bench.says("#shots", "220")
    lost = []

    def lose_once(route):
        if lost:
            route.continue_()
            return
        lost.append(route.fetch())
        route.abort()

    bench.page.route("**/velocity/take-reading", lose_once)
    bench.enter("221")
    expect(bench.page.locator("#shots .reading:not(.pending)")).to_have_count(2, timeout=WITHIN)
    bench.says("#link", "live")
    expect(bench.page.locator("#link")).not_to_contain_text("not sent", timeout=WITHIN)
    assert bench.shots() == ["220", "221", "· to come"]


def test_a_wrong_key_and_a_key_without_the_right_are_told_in_a_sentence(page_at, day):
    bench = Bench(page_at(*SIZES["bench"]), day)
    bench.sign_in("nobody.nothing")
    bench.says("#problem", "Copy it whole")
    bench.sign_in(day.live.enrol(day.name("desk"), "desk"))
    bench.says("#problem", "this takes one of")
    bench.sign_in()
    bench.page.wait_for_selector("#bench:not([hidden])")
    bench.page.click("#forget")
    bench.page.reload()
    assert bench.page.is_visible("#sign-in")


def test_without_a_chronograph_in_the_address_it_asks_which_one(page_at, day):
    bench = Bench(page_at(*SIZES["bench"]), day)
    bench.page.goto(f"{day.live.url}/parks/{day.live.park}/velocity/bench")
    bench.sign_in()
    bench.page.click(f"#chronos a:text-is('{bench.chrono}')")
    bench.page.wait_for_selector("#bench:not([hidden])")
    bench.says("#title", bench.chrono)


@pytest.mark.parametrize("size", SIZES)
def test_everything_is_on_the_screen_without_scrolling(page_at, day, size):
    bench = Bench(page_at(*SIZES[size]), day).ready()
    for number in range(9):
        bench.check([280.0 + number / 10, 281.0, 282.0], [280.0, 281.0, 282.0])
    bench.enter(bench.marker(), "292", "296", "M3", "294")
    bench.state("turn_down")
    bench.picture(f"11-{size}")
    assert bench.page.evaluate("document.documentElement.scrollHeight <= innerHeight")
    assert bench.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    cut = """() => [...document.querySelectorAll('#verdict, #shots, #fields, #said, #acts button, #chart svg, footer, #band')]
        .filter((one) => { const box = one.getBoundingClientRect();
            return box.bottom > innerHeight + 1 || box.right > innerWidth + 1 || one.scrollHeight > one.clientHeight + 4 && one.tagName !== 'svg'; })
        .map((one) => one.id || one.textContent)"""
    assert bench.page.evaluate(cut) == []


LOOK = """() => {
    const seen = [];
    const solid = (one) => {
        for (let at = one; at; at = at.parentElement) {
            const colour = getComputedStyle(at).backgroundColor;
            if (!/, 0\\)$|transparent/.test(colour)) return colour;
        }
        return 'rgb(255, 255, 255)';
    };
    for (const one of document.querySelectorAll('body *')) {
        const own = [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
        const box = one.getBoundingClientRect();
        if (own && box.width && box.height) {
            const ink = one.closest('svg') ? getComputedStyle(one).fill : getComputedStyle(one).color;
            seen.push([one.textContent.trim().slice(0, 40), ink, solid(one.closest('svg') ?? one)]);
        }
    }
    return seen;
}"""


def contrast(first, second):
    """WCAG 2.1, relative luminance and contrast ratio (its 0.03928 stands there so)."""

    def luminance(colour):
        channels = [
            float(part) / 255 for part in colour.removeprefix("rgba").removeprefix("rgb").strip("()").split(",")[:3]
        ]
        linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    darker, lighter = sorted([luminance(first), luminance(second)])
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_formula_gives_the_published_ratios():
    """WCAG 2.1: black on white is 21 : 1. #767676 on white is 4.54 : 1 and #595959 7.0 : 1 (from memory, widely published)."""
    assert contrast("rgb(0, 0, 0)", "rgb(255, 255, 255)") == pytest.approx(21)
    assert contrast("rgb(118, 118, 118)", "rgb(255, 255, 255)") == pytest.approx(4.54, abs=0.005)
    assert contrast("rgb(89, 89, 89)", "rgb(255, 255, 255)") == pytest.approx(7.0, abs=0.01)


@pytest.mark.parametrize(
    "speeds", [("220", "221", "222"), ("240", "241", "242"), ("292", "296", "294"), ("100", "101", "M3", "102")]
)
def test_every_word_stands_out_at_seven_to_one_whatever_the_verdict(bench, speeds):
    if speeds[0] == "292":
        bench.check([276.0, 277.0, 278.0], [280.0, 281.0, 282.0])
        bench.page.wait_for_selector("#band.doubted", timeout=WITHIN)
    bench.enter(bench.marker(), *speeds)
    bench.page.wait_for_selector("#verdict:not(.open):not(.idle)", timeout=WITHIN)
    faint = [
        (words, round(contrast(ink, ground), 2))
        for words, ink, ground in bench.page.evaluate(LOOK)
        if contrast(ink, ground) < 7
    ]
    assert faint == []


def test_whatever_is_touched_is_large_enough_for_a_glove(bench):
    """48 CSS pixels: common practice for touch targets with gloves, no source."""
    bench.enter(bench.marker(), "220", "W")
    bench.says("#shots", "220")
    small = """() => [...document.querySelectorAll('button, input, select, #chronos a')].filter((one) => {
        const box = (one.type === 'checkbox' ? one.closest('label') : one).getBoundingClientRect();
        return box.width && (box.height < 48 || box.width < 48); }).map((one) => one.outerHTML)"""
    assert bench.page.evaluate(small) == []


def test_each_verdict_has_a_shape_of_its_own_beside_its_word_and_colour(bench):
    seen = {}
    for kind, speeds in {
        "pass": ("220", "221", "222"),
        "turn_down": ("292", "296", "294"),
        "inconclusive": ("100", "101", "102"),
    }.items():
        bench.enter(bench.marker(), *speeds)
        bench.state(kind)
        seen[kind] = (bench.page.get_attribute("#verdict path", "d"), bench.page.inner_text("#verdict strong"))
    assert len({shape for shape, _ in seen.values()}) == 3
    assert len({word for _, word in seen.values()}) == 3


def test_the_usual_cautions_stand_on_the_page(bench):
    told = bench.page.inner_text("footer")
    for words in ("Eye protection on", "Barrel down-range", "cover on", "Local law"):
        assert words in told


def test_while_the_verdict_is_awaited_the_one_of_the_marker_before_is_not_shown(bench):
    bench.enter(bench.marker(), "220", "221", "222")
    bench.state("pass")
    told = "window.told = []; new MutationObserver(() => window.told.push(document.querySelector('#verdict strong').textContent)).observe(document.querySelector('#verdict'), { subtree: true, childList: true, characterData: true });"
    bench.page.evaluate(told)
    bench.enter(bench.marker(), "292", "296", "294")
    bench.state("turn_down")
    bench.says("#who p", "string ended")
    assert not any("PASS" in word for word in bench.page.evaluate("window.told"))


def module(bench, name, expression):
    """What an expression gives over one of the page's own modules, in the browser."""
    path = f"/parks/{bench.day.live.park}/velocity/page/{name}"
    return bench.page.evaluate(f"import({path!r}).then((it) => {expression})")


TYPED = {
    ("281.4", "fps"): 281.4,
    ("281,4", "fps"): 281.4,
    ("91.44", "mps"): 300.0,
    ("91.44 m/s", "fps"): 300.0,
    ("281.4 fps", "mps"): 281.4,
    ("281.4 ft/s", "joules"): 281.4,
    ("281.4", "joules"): 281.4,
    ("-281.4", "fps"): None,
    ("281.4.5", "fps"): None,
    ("H027", "fps"): None,
}


def test_a_speed_is_typed_in_the_parks_unit_or_in_the_one_that_stands_behind_it(bench):
    """The international foot is 0.3048 m (agreement of 1959): 91.44 m/s are 300 ft/s. A park that speaks joules reads ft/s off its chronographs."""
    found = module(bench, "speeds.js", f"{json.dumps(list(TYPED))}.map(([text, unit]) => it.typed(text, unit))")
    assert [one is None for one in found] == [fps is None for fps in TYPED.values()]
    assert [one for one in found if one] == pytest.approx([fps for fps in TYPED.values() if fps])


def test_a_speed_is_shown_in_the_parks_unit(bench):
    """300 ft/s are 91.44 m/s by the exact foot; a ball of 3.2 g then has 0.0032 / 2 x 91.44 squared = 13.378 J, computed here."""
    assert module(bench, "speeds.js", "it.shown(300, 'mps', 3.2)") == "91.4"
    assert module(bench, "speeds.js", "it.shown(300, 'joules', 3.2)") == f"{0.0032 / 2 * 91.44**2:.2f}" == "13.38"
    assert module(bench, "speeds.js", "it.shown(281.44, 'fps', 3.2)") == "281.4"
    assert module(bench, "speeds.js", "it.difference(12, 'mps')") == "3.7 m/s"


MEANT = [
    ("H027", {}, {"act": "marker", "marker": "H027"}),
    ("31", {}, {"act": "marker", "marker": "31"}),
    ("281", {"open": True}, {"act": "reading", "speed": 281}),
    ("H028", {"open": True}, {"act": "marker", "marker": "H028"}),
    ("N 31", {"open": True}, {"act": "marker", "marker": "31"}),
    ("m2 301", {"open": True}, {"act": "misread", "kind": "double_trigger", "speed": 301}),
    ("M3", {"open": True}, {"act": "misread", "kind": "beam_lost", "speed": None}),
    ("M31", {"open": True}, {"act": "marker", "marker": "M31"}),
    ("l", {"open": True}, {"act": "L"}),
    ("W2", {}, {"act": "work", "work": "sensor"}),
    ("281.4 280.9", {"checking": True}, {"act": "pair", "reading": 281.4, "reference": 280.9}),
    ("281.4/280.9", {"checking": True}, {"act": "pair", "reading": 281.4, "reference": 280.9}),
    ("", {"checking": True}, {"act": "enter"}),
]


def test_an_entry_means_one_thing(bench):
    states = [(entry, {"open": False, "checking": False, "unit": "fps"} | where) for entry, where, _ in MEANT]
    found = module(bench, "keys.js", f"{json.dumps(states)}.map(([entry, state]) => it.meaning(entry, state))")
    assert found == [meant for *_, meant in MEANT]


def test_what_is_no_pair_in_a_check_says_how_a_pair_is_entered(bench):
    bench.enter("C", "281.4")
    bench.says("#hint", "281.4 280.9")


def test_an_answer_that_comes_once_another_key_is_here_is_kept_for_neither(bench):
    """After a restore it would be told again under the other's key, as that one's; its own key finds it recorded."""
    held = []
    bench.enter(bench.marker(), "220")
    expect(bench.page.locator("#shots .reading:not(.pending)")).to_have_count(1, timeout=WITHIN)
    bench.page.route("**/velocity/take-reading", lambda route: route.continue_() if held else held.append(route))
    bench.enter("221")
    bench.says("#link", "1 not sent yet")
    bench.page.click("#forget")
    bench.says("#problem", "1 recorded on")
    other = bench.day.name("chrono")
    bench.sign_in(bench.day.live.enrol(other, "chrono"))
    bench.says("#link", "live")
    with bench.page.expect_response("**/velocity/take-reading"):
        held[0].continue_()
    expect(bench.page.locator("#shots .reading:not(.pending)")).to_have_count(2, timeout=WITHIN)
    bench.page.click("#forget")
    bench.sign_in()
    expect(bench.page.locator("#link")).to_have_text("● live", timeout=WITHIN)
    assert bench.shots() == ["220", "221", "· to come"]
    kept = bench.page.evaluate("Object.entries({...sessionStorage}).filter(([name]) => name.includes('bench sent'))")
    assert [one for name, value in kept if name.endswith(f" {other}") for one in json.loads(value)] == []
