"""What a gate is answered over HTTP: everybody of today as of everything recorded so far; and what it recorded without the network, alone and in a batch."""

import threading
import time
from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from contracts.gate import GateList
from tests.integration.board_day import BoardDay
from tests.integration.live import serving

pytestmark = pytest.mark.timeout(180)


@pytest.fixture(scope="module")
def day(databases, nats_urls):
    """A respawn game of two on birch; four more are cleared; fern is free."""
    with serving(databases.create(), nats_urls) as live:
        day = BoardDay(live)
        day.open("birch", "fern")
        day.players(6)
        day.start("g1", "birch", ["p1", "p2"], format="respawn")
        yield day


def ask(day, field="birch", role="staging", **query):
    live = day.live
    headers = {"Authorization": f"Bearer {live.keys[role]}"}
    return live.http.get(f"/parks/{live.park}/games/gate", params={"field": field} | query, headers=headers)


def listed(day, **more):
    answer = ask(day, **more)
    assert answer.status_code == 200, answer.text
    return msgspec.json.decode(answer.content, type=GateList)


def one(made, player):
    return next(one for one in made.players if one.player == player)


def codes(reasons):
    return [reason["code"] if isinstance(reason, dict) else reason.code for reason in reasons]


def entry(made, player, **more):
    knew = {"epoch": made.epoch, "position": made.position, "as_of": made.as_of.isoformat()}
    return {"player": player, "field": "birch", "game": "g1", "knew": knew, "answer": "cleared"} | more


def test_what_was_sent_is_in_the_next_list_at_once(day):
    assert one(listed(day), "p6").cleared
    day.send("discipline/caution", {"caution": "c6", "player": "p6", "violation": "physical-contact"})
    made = listed(day)
    assert (one(made, "p6").cleared, codes(one(made, "p6").reasons)) == (False, ["stood_down"])
    assert made.position >= day.live.head()


def test_the_list_says_what_the_log_says_of_each(day):
    made = listed(day)
    for who in made.players:
        told = day.live.get(f"/parks/{day.live.park}/clearance/players/{who.player}?field=birch").json()
        assert told["cleared"] is who.cleared
        assert codes(told["reasons"]) == codes((*who.reasons, *made.reasons))


def test_who_has_the_list_waits_until_it_says_something_else(day):
    made, answered = listed(day), []
    after = f"{made.epoch}:{made.position}"
    waiting = threading.Thread(target=lambda: answered.append((listed(day, after=after), time.monotonic())))
    waiting.start()
    time.sleep(1)
    day.send("games/check-paint", {"check": "paint-1", "player": "p1", "field": "birch", "finding": "clean"})
    time.sleep(1.5)
    assert waiting.is_alive(), "a check for paint changes nobody's clearance"
    sent = time.monotonic()
    day.send("discipline/caution", {"caution": "c5", "player": "p5", "violation": "physical-contact"})
    waiting.join(timeout=8)
    ((newer, heard),) = answered
    assert codes(one(newer, "p5").reasons) == ["stood_down"]
    assert heard - sent < 4


def test_with_nothing_new_it_is_told_again_with_its_new_time(day):
    made = listed(day)
    again = listed(day, after=f"{made.epoch}:{made.position}")
    assert again.as_of > made.as_of + timedelta(seconds=5)
    assert again.players == made.players


@pytest.mark.parametrize(
    ("query", "status", "kind"),
    [
        ({"field": "moor"}, 404, "unknown-subject"),
        ({"field": ""}, 400, "invalid-parameter"),
        ({"after": "soon"}, 400, "invalid-parameter"),
        ({"after": "1:999999"}, 422, "position-ahead"),
        ({"role": "board"}, 403, "not-allowed"),
        ({"role": "integrator"}, 403, "not-allowed"),
    ],
)
def test_what_cannot_be_answered_says_why(day, query, status, kind):
    answer = ask(day, **query)
    assert (answer.status_code, answer.json()["type"]) == (status, f"/problems/{kind}")


def test_an_entry_is_recorded_once_however_often_it_is_sent_and_held_against_the_record(day):
    made = listed(day)
    day.send("discipline/caution", {"caution": "c3", "player": "p3", "violation": "physical-contact"})
    day.send("discipline/confirm-ejection", {"caution": "c3", "player": "p3"})
    headers = day.live.headers("staging")
    body = msgspec.json.encode(entry(made, "p3"))
    first, again = (day.live.send("games/record-entry", body, headers) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 201)
    (event,) = first.json()["events"]
    assert again.json()["events"] == [event]
    assert (codes(event["data"]["reasons"]), event["data"]["stale"]) == (["ejected"], False)
    (alert,) = [one for one in day.board()["alerts"] if one["kind"] == "let_in_offline"]
    assert "Red" not in alert["sentence"]
    assert alert["sentence"].startswith("Armband 3 went onto Birch")
    assert codes(one(listed(day), "p3").reasons) == ["ejected", "already_on_field"]


def test_knowledge_that_was_too_old_is_marked(day):
    made = listed(day)
    old = {"epoch": 1, "position": made.position, "as_of": (datetime.now(UTC) - timedelta(minutes=16)).isoformat()}
    (event,) = day.send("games/record-entry", entry(made, "p4", knew=old))["events"]
    assert event["data"]["stale"] is True
    assert 16 <= event["data"]["age_minutes"] < 17


def test_a_batch_takes_an_entry_and_refuses_an_admission(day):
    live, made = day.live, listed(day)
    lines = [
        {
            "key": "01890a5d-ac96-774b-bcce-b302099a8057",
            "seq": 1,
            "command": "games/record-entry",
            "body": entry(made, "p5"),
        },
        {
            "key": "01890a5d-ac96-774b-bcce-b302099a8058",
            "seq": 2,
            "command": "games/admit-player",
            "body": {"player": "p4", "field": "birch", "game": "g1"},
        },
    ]
    content = b"".join(msgspec.json.encode(line) + b"\n" for line in lines)
    headers = {
        "Authorization": f"Bearer {live.keys['staging']}",
        "Content-Type": "application/x-ndjson",
        "Device-Time": datetime.now(UTC).isoformat(),
    }
    answer = live.http.post(f"/parks/{live.park}/batch", content=content, headers=headers)
    verdicts = [msgspec.json.decode(line) for line in answer.content.splitlines()]
    assert verdicts[0]["status"] == 201, verdicts
    assert verdicts[0]["receipt"]["events"][0]["type"] == "games.entry_recorded"
    assert verdicts[1]["problem"]["type"] == "/problems/not-offline"
