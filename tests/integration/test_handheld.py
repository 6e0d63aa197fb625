"""What a referee's handheld is answered: whoever has the newest answer waits for something new about that field, and nobody else may ask."""

import threading
import time

import pytest

from tests.integration.board_day import BoardDay
from tests.integration.live import serving

pytestmark = pytest.mark.timeout(120)


@pytest.fixture(scope="module")
def day(databases, nats_urls):
    """Four players in a live game on birch; fern is free."""
    with serving(databases.create(), nats_urls) as live:
        day = BoardDay(live)
        day.open("birch", "fern")
        day.start("g1", "birch", day.players(4))
        yield day


def ask(day, field="birch", role="referee", **query):
    live = day.live
    headers = {"Authorization": f"Bearer {live.keys[role]}"}
    return live.http.get(f"/parks/{live.park}/games/handheld/{field}", params=query, headers=headers)


def at_hand(day, field="birch"):
    shown = ask(day, field).json()
    return f"{shown['epoch']}:{shown['position']}"


def test_who_has_the_newest_answer_is_woken_by_what_is_new_on_that_field_and_by_nothing_else(day):
    after, answered = at_hand(day), []
    waiting = threading.Thread(target=lambda: answered.append((ask(day, after=after), time.monotonic())))
    waiting.start()
    time.sleep(0.5)
    day.send("games/ask-hold", {"hold": "elsewhere", "field": "fern"})
    time.sleep(0.5)
    assert waiting.is_alive(), "what happens on fern is no news of birch"
    sent = time.monotonic()
    day.send("games/ask-hold", {"hold": "here", "field": "birch"})
    waiting.join(timeout=5)
    ((answer, heard),) = answered
    assert [one["hold"] for one in answer.json()["holds"]] == ["here"]
    assert heard - sent < 1
    for hold, field in (("here", "birch"), ("elsewhere", "fern")):
        day.send("games/lift-hold", {"hold": hold, "field": field, "swept": True})


def test_what_was_sent_is_in_the_next_answer_at_once(day):
    day.send("games/record-out", {"player": "p1", "field": "birch", "game": "g1", "cause": "walked_off"})
    assert {one["player"]: one.get("off", False) for one in ask(day).json()["playing"]["people"]}["p1"]


def test_an_answer_that_cannot_be_is_refused_and_one_of_another_epoch_is_answered_at_once(day):
    position = day.live.head()
    assert ask(day, after=f"1:{position + 1000}").json()["type"] == "/problems/position-ahead"
    began = time.monotonic()
    assert ask(day, after=f"2:{position}").status_code == 200
    assert time.monotonic() - began < 2
    assert ask(day, after="soon").json()["type"] == "/problems/invalid-parameter"


def test_an_unknown_field_is_told_as_one(day):
    assert ask(day, "oak").json()["type"] == "/problems/unknown-subject"


@pytest.mark.parametrize(
    ("role", "status"), [("referee", 200), ("head_referee", 200), ("manager", 200), ("desk", 403), ("board", 403)]
)
def test_only_who_answers_for_a_field_is_answered(day, role, status):
    assert ask(day, role=role).status_code == status


def test_the_page_and_its_parts_let_nothing_in_from_anywhere_else(day):
    live = day.live
    for path in ("games/handheld", "games/worker.js", "games/page/handheld.js", "page/park.js", "page/follow.js"):
        answer = live.http.get(f"/parks/{live.park}/{path}")
        assert answer.status_code == 200
        assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_the_same_touch_sent_twice_is_recorded_once_and_answered_alike(day):
    key = '"017f22e2-79b0-7cc3-98c4-dc0c0c07398f"'
    body = {
        "player": "p2",
        "field": "birch",
        "game": "g1",
        "cause": "eliminated",
        "occurred_at": "2026-01-01T00:00:00Z",
    }
    first, again = (day.live.post("games/record-out", body, "referee", idempotency_key=key) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json()["repeat"]
    assert first.json()["events"] == again.json()["events"]
    voided = day.live.post("games/void-out", {"player": "p2", "out": key.strip('"')}, "referee")
    assert voided.json()["events"][0]["type"] == "games.out_voided"
