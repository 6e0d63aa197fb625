"""The audit's page in a real browser: a manager with an angry customer on the phone, from the pass to the case file."""

import io
import itertools
import time
import zipfile
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import expect

from tests.browser.keys import Keys
from tests.browser.server import Server
from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(180)
SIZES = {"desk": (1366, 900), "tablet": (1024, 768), "phone": (390, 844)}
parks = itertools.count(1)


@pytest.fixture(scope="module")
def server(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, f"askmoor-{next(parks)}")
    yield server
    server.down()


@pytest.fixture(scope="module")
def day(server):
    """Player p1 is cautioned twice in a game and so ejected; his refund is refused. p2 has a caution that is withdrawn."""
    day = BoardDay(server.up())
    day.open("birch")
    players = day.players(4)
    day.start("g1", "birch", players)
    caution(day, "c1", "p1", "overshooting")
    caution(day, "c2", "p1", "wiping")
    day.send("discipline/rule-separate-act", {"caution": "c2", "player": "p1"})
    caution(day, "c3", "p2", "wiping")
    day.send("discipline/void-caution", {"caution": "c3", "player": "p2", "cause": "recorded_twice"})
    day.send("games/end-game", {"game": "g1", "winner": "red"})
    refund = {"refund": "refund-1", "payment": "pay-4", "player": "p1", "amount_minor": 2500}
    paid = next(
        event
        for event in day_events(day)
        if event["type"] == "registration.payment_recorded" and "p1" in event["data"]["players"]
    )
    day.send("registration/refund", refund | {"payment": paid["data"]["payment"]}, expect=409)
    return day


def caution(day, name, player, violation):
    day.send(
        "discipline/caution",
        {"caution": name, "violation": violation, "player": player, "field": "birch", "game": "g1"},
    )


def day_events(day):
    return day.live.get(f"/parks/{day.live.park}/audit/stories/player/p1").json()["events"]


class Desk:
    """The page as the manager at the desk uses it."""

    def __init__(self, page, day):
        self.page, self.day = page, day
        self.complaints = []
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.goto(f"{day.live.url}/parks/{day.live.park}/audit")

    def sign_in(self, key=None):
        self.page.fill("#key", key or self.day.live.keys["everything"])
        self.page.click("text=Use this key")

    def find(self, **asked):
        for name, value in asked.items():
            self.page.fill(f"#{name}", value)
        self.page.click("#find button:has-text('Find')")

    def case(self):
        self.page.wait_for_selector("#case:not([hidden])")

    def problem(self):
        self.page.wait_for_selector("#problem:not([hidden])")
        return self.page.inner_text("#problem")

    def event(self, words):
        return self.page.locator("#timeline > ol > li", has_text=words)

    def otherwise(self):
        self.page.click("#ask")
        self.page.wait_for_selector("#otherwise .none")
        return self.page.inner_text("#otherwise .none"), self.page.locator("#otherwise li").all_inner_texts()


@pytest.fixture
def desk(page, day):
    page.set_viewport_size({"width": 1366, "height": 900})
    desk = Desk(page, day)
    yield desk
    assert desk.complaints == []


def test_from_the_pass_to_the_case_file_in_a_few_touches(desk):
    begun = time.monotonic()
    desk.sign_in()
    desk.find(**{"pass": "pass-p1"})
    desk.case()
    assert "Armband 1" in desk.page.inner_text("#who h2")
    assert "stood down" in desk.event("wiping (c2)").first.inner_text()
    assert (
        "ejected" in desk.event("separate act").filter(has=desk.page.locator(".after", has_text="ejected")).inner_text()
    )
    with desk.page.expect_download() as downloading:
        desk.page.click("#download")
    with zipfile.ZipFile(downloading.value.path()) as case:
        assert {"README.txt", "checkpoint.txt", "report.pdf", "report.html", "verify.py"} <= set(case.namelist())
        assert case.testzip() is None
    expect(desk.page.locator("#state")).to_contain_text("is saved")
    assert time.monotonic() - begun < 120


def test_a_pass_that_is_scanned_finds_its_player_and_what_is_none_is_said_to_be_none(desk):
    desk.sign_in()
    live = desk.day.live
    printed = live.running.app.state.passes[live.park].text("pass-p1", desk.day.today)
    desk.page.focus("#pass")
    Keys(desk.page).scan(printed)
    desk.case()
    assert "p1" in desk.page.inner_text("#who h2")
    desk.find(**{"pass": printed[:-2] + "AA"})
    expect(desk.page.locator("#problem")).to_contain_text("This is no genuine pass")
    desk.find(**{"pass": "two words"})
    expect(desk.page.locator("#problem")).to_contain_text("two words is no code of a pass")


def test_a_player_is_found_by_his_armband_and_by_a_time_on_a_field(desk):
    desk.sign_in()
    desk.find(number="2")
    desk.case()
    assert "p2" in desk.page.inner_text("#who h2")
    desk.find(number="", **{"from": "00:00", "to": "23:59"})
    assert "field" in desk.problem()
    desk.page.select_option("#where", "birch")
    desk.page.click("#find button:has-text('Find')")
    desk.page.wait_for_selector("#found [data-player=p3]")
    assert desk.page.locator("#found button").count() == 4
    assert "A caution was recorded" in desk.page.inner_text("#found [data-player=p1]")
    assert "A caution was recorded" not in desk.page.inner_text("#found [data-player=p3]")


def test_who_asks_another_way_is_not_answered_for_the_way_before(desk):
    desk.sign_in()
    desk.find(**{"pass": "pass-p1"})
    desk.case()
    desk.find(number="2")
    expect(desk.page.locator("#who h2")).to_contain_text("p2")
    assert not desk.page.input_value("#pass")


@pytest.mark.parametrize(
    ("zone", "date", "hour"),
    [
        ("Europe/London", "2026-10-24", "16:00"),
        ("Pacific/Auckland", "2026-09-26", "16:00"),
        ("Pacific/Auckland", "2027-04-03", "16:00"),
        ("America/Los_Angeles", "2026-11-01", "08:30"),
        ("America/Los_Angeles", "2027-03-14", "09:00"),
        ("Asia/Kolkata", "2026-10-24", "16:00"),
    ],
)
def test_a_time_on_the_parks_clock_is_right_on_the_days_about_a_change_of_the_clock(desk, zone, date, hour):
    """Against Python's zoneinfo, which reads the IANA time zone database on its own."""
    path = f"/parks/{desk.day.live.park}/audit/find.js"
    asked = f"import({path!r}).then(({{ instant }}) => instant({date!r}, {hour!r}, {zone!r}))"
    meant = datetime.fromisoformat(f"{date}T{hour}").replace(tzinfo=ZoneInfo(zone))
    assert datetime.fromisoformat(desk.page.evaluate(asked)) == meant


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        (("10:00", "11:30"), ("2026-10-24T10:00", "2026-10-24T11:30")),
        (("22:00", "00:30"), ("2026-10-24T22:00", "2026-10-25T00:30")),
        (("00:30", "03:30"), ("2026-10-25T00:30", "2026-10-25T03:30")),
        (("00:00", "23:59"), ("2026-10-24T04:00", "2026-10-25T04:00")),
    ],
)
def test_a_night_belongs_to_the_day_before_it(desk, typed, meant):
    """On the day after which the clocks of London go back: its operating day has 25 hours."""
    path, zone = f"/parks/{desk.day.live.park}/audit/find.js", "Europe/London"
    asked = f"import({path!r}).then(({{ span }}) => span('2026-10-24', {typed[0]!r}, {typed[1]!r}, {zone!r}))"
    found = desk.page.evaluate(asked)
    assert [datetime.fromisoformat(found[name]) for name in ("from", "to")] == [
        datetime.fromisoformat(one).replace(tzinfo=ZoneInfo(zone)) for one in meant
    ]


def test_the_refused_refund_stands_in_the_timeline_with_its_reason(desk):
    desk.sign_in()
    desk.find(number="1")
    desk.case()
    refused = desk.event("paid back").filter(has=desk.page.locator(".verdict.refused"))
    assert "forfeited" in refused.first.inner_text()


def test_the_moment_says_what_the_gate_knew_and_fades_what_was_not_yet_recorded(desk):
    desk.sign_in()
    desk.find(number="1")
    desk.case()
    desk.page.wait_for_selector("#verdict .verdict.refused")
    assert "ejected" in desk.page.inner_text("#verdict").lower()
    slider = desk.page.locator("#moment-at")
    slider.focus()
    desk.page.keyboard.press("Home")
    desk.page.wait_for_selector("#timeline > ol > li.not-yet")
    said = "getComputedStyle(document.querySelector('li.not-yet .from'), '::after').content"
    assert "not yet recorded" in desk.page.evaluate(said)
    expect(desk.page.locator("#verdict")).not_to_contain_text("ejected", ignore_case=True)


def test_leaving_out_the_second_caution_undoes_the_ejection_and_the_refusal_and_writes_nothing(desk, day):
    before = day.live.head()
    desk.sign_in()
    desk.find(number="1")
    desk.case()
    box = desk.event("(c2)").first.locator("input[type=checkbox]")
    box.check()
    heading, changes = desk.otherwise()
    assert "otherwise" in heading
    assert any("eject" in change.lower() for change in changes), changes
    assert any("paid back" in change.lower() or "refund" in change.lower() for change in changes), changes
    desk.page.click("#clear")
    assert not box.is_checked()
    assert day.live.head() == before


def test_leaving_out_a_withdrawn_caution_changes_no_decision_only_what_was_owed_until_then(desk):
    desk.sign_in()
    desk.find(number="2")
    desk.case()
    desk.event("A caution was recorded").first.locator("input[type=checkbox]").check()
    heading, changes = desk.otherwise()
    assert heading.startswith("1 ")
    assert "p2" in changes[0]
    assert "sit-out" in changes[0]


def test_a_wrong_key_a_key_without_the_right_and_an_unknown_pass_are_each_told_in_a_sentence(desk, day):
    desk.sign_in("nobody.nothing")
    assert "Copy it whole" in desk.problem()
    desk.sign_in(day.live.enrol("desk-7", "desk"))
    expect(desk.page.locator("#problem")).to_contain_text("auditor")
    desk.sign_in()
    desk.page.wait_for_selector("#find:not([hidden])")
    desk.find(**{"pass": "pass-nobody"})
    assert desk.problem()
    assert not desk.page.is_visible("#case")


def test_the_page_is_worked_by_keyboard_alone(desk):
    desk.page.wait_for_selector("#key:focus")
    desk.page.keyboard.type(desk.day.live.keys["everything"])
    desk.page.keyboard.press("Enter")
    desk.page.wait_for_selector("#pass:focus")
    desk.page.keyboard.type("pass-p1")
    desk.page.keyboard.press("Enter")
    desk.case()


@pytest.mark.parametrize("size", SIZES)
def test_nothing_runs_off_the_side(desk, size):
    width, height = SIZES[size]
    desk.page.set_viewport_size({"width": width, "height": height})
    desk.sign_in()
    desk.find(number="1")
    desk.case()
    desk.page.wait_for_selector("#verdict .verdict")
    assert desk.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_the_key_is_forgotten_when_it_is_told_to(desk):
    desk.sign_in()
    desk.page.click("#forget")
    desk.page.reload()
    assert desk.page.is_visible("#sign-in")


def test_what_the_case_file_holds_can_be_unzipped_from_the_answer_itself(day):
    answer = case_of(day)
    assert answer.headers["content-type"] == "application/zip"
    assert zipfile.ZipFile(io.BytesIO(answer.content)).testzip() is None


@pytest.mark.parametrize("size", SIZES)
def test_the_report_in_the_case_file_is_read_on_any_screen_without_running_off_it(page, day, size):
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})
    page.set_content(zipfile.ZipFile(io.BytesIO(case_of(day).content)).read("report.html").decode())
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def case_of(day):
    return day.live.get(f"/parks/{day.live.park}/audit/cases/player/p1")
