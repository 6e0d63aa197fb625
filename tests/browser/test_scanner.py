"""The shared scanner in a real browser: keys as a scanner sends them, and as a hand does."""

from pathlib import Path

import pytest

from tests.browser.keys import Keys

SCRIPT = Path(__file__).parents[2] / "services/core/page/scan.js"
PAGE = """<!doctype html>
<form id="say"><input id="said"></form><p id="read"></p>
<textarea id="note"></textarea><input type="checkbox" id="tick"><button id="press">Press</button>
<script type="module">
import { Scanner } from "/scan.js";
window.taken = []; window.pressed = 0; window.open = [];
document.getElementById("press").addEventListener("click", () => (window.pressed += 1));
const slowly = () => new Promise((resolve) => window.open.push(resolve));
const take = (code, how) => { window.taken.push(`${how} ${code}`); return window.slow ? slowly() : undefined; };
window.scanner = new Scanner({ input: document.getElementById("said"), shown: document.getElementById("read"), take });
</script>"""


@pytest.fixture
def scanned(page):
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.route("http://scan.test/", lambda route: route.fulfill(body=PAGE, content_type="text/html"))
    page.route("**/scan.js", lambda route: route.fulfill(path=SCRIPT, content_type="text/javascript"))
    page.goto("http://scan.test/")
    page.wait_for_function("window.scanner")
    yield page
    assert complaints == []


@pytest.fixture
def keys(scanned):
    return Keys(scanned)


def taken(page):
    return page.evaluate("window.taken")


@pytest.mark.parametrize("end", ["Enter", "Tab"])
@pytest.mark.parametrize("focus", ["#said", "#note", "#tick", "#press", None])
def test_a_scan_is_read_wherever_the_focus_is_and_leaves_nothing_behind(scanned, keys, focus, end):
    if focus:
        scanned.focus(focus)
    keys.scan("H 027", end)
    assert taken(scanned) == ["scanned H 027"]
    assert scanned.text_content("#read") == "Read H 027"
    assert [scanned.input_value("#said"), scanned.input_value("#note"), scanned.is_checked("#tick")] == ["", "", False]
    assert scanned.evaluate("window.pressed") == 0


def test_what_a_hand_had_begun_is_as_it_was_after_a_scan(scanned, keys):
    scanned.focus("#said")
    keys.type("ma")
    keys.scan("H027")
    assert scanned.input_value("#said") == "ma"
    keys.type("sk-1", "Enter")
    assert taken(scanned) == ["scanned H027", "typed mask-1"]


def test_a_code_typed_by_hand_goes_where_it_belongs_though_nothing_has_the_focus(scanned, keys):
    keys.type("H027", "Enter")
    assert taken(scanned) == ["typed H027"]


def test_enter_on_a_button_after_slow_keys_presses_it(scanned, keys):
    scanned.focus("#press")
    keys.type("abc", "Enter")
    assert taken(scanned) == []
    assert scanned.evaluate("window.pressed") == 1


def test_the_same_code_again_within_a_second_counts_once_and_another_counts(scanned, keys):
    for code in ("H027", "H027", "H028", "H027"):
        keys.scan(code)
    assert taken(scanned) == ["scanned H027", "scanned H028", "scanned H027"]
    keys.wait(1100)
    keys.scan("H027")
    assert len(taken(scanned)) == 4


def test_a_scan_while_the_one_before_is_under_way_waits_and_says_so(scanned, keys):
    scanned.evaluate("window.slow = true")
    for code in ("H027", "H028", "H029"):
        keys.scan(code)
    assert taken(scanned) == ["scanned H027"]
    assert scanned.text_content("#read") == "Read H027 · waiting: H028, H029"
    scanned.evaluate("window.open[0]()")
    scanned.wait_for_function("window.taken.length === 2")
    assert scanned.text_content("#read") == "Read H028 · waiting: H029"
    scanned.evaluate("window.open[1]()")
    scanned.wait_for_function("window.taken.length === 3")
    assert taken(scanned) == ["scanned H027", "scanned H028", "scanned H029"]


def test_a_scanner_without_an_end_leaves_its_code_in_the_field_for_a_person(scanned, keys):
    scanned.focus("#press")
    keys.scan("H027", end="")
    scanned.wait_for_function("document.activeElement.id === 'said'")
    assert "without an end" in scanned.text_content("#read")
    keys.type("", "Enter")
    assert taken(scanned) == ["typed H027"]


@pytest.mark.parametrize("focus", ["#press", "#said"])
def test_a_scan_that_the_page_is_slow_to_hear_is_taken_whole(scanned, keys, focus):
    """The times of the keys count, not when the page gets round to them."""
    scanned.focus(focus)
    keys.scan("H02", end="")
    scanned.wait_for_timeout(600)
    keys.go_on("7")
    assert taken(scanned) == ["scanned H027"]
    assert scanned.input_value("#said") == ""


def test_a_long_code_is_shown_by_its_two_ends_and_taken_whole(scanned, keys):
    code = "FLP" + "A2B3C4D5E6F7" * 12
    keys.scan(code)
    assert taken(scanned) == [f"scanned {code}"]
    assert scanned.text_content("#read") == f"Read {code[:10]} … {code[-6:]}"


def test_what_a_scanner_says_of_the_kind_of_code_is_no_part_of_it(scanned, keys):
    """ISO/IEC 15424: `]`, a letter and a modifier before the data; `]Q1` is a QR code, `]C0` Code 128 (from memory)."""
    keys.scan("]Q1H027")
    assert taken(scanned) == ["scanned H027"]


def test_nothing_is_taken_while_the_field_cannot_be_seen(scanned, keys):
    scanned.evaluate("document.getElementById('say').hidden = true")
    scanned.focus("#note")
    keys.scan("office.secret")
    assert taken(scanned) == []
    assert scanned.input_value("#note") == "office.secret\n"
