"""Batches over HTTP: a verdict a line, in order, once each, whatever is sent again or cut off, and what is wrong with a line stops no other."""

import asyncio
import gzip
import json
import socket
import threading
import time
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from itertools import count
from uuid import UUID
from zlib import crc32

import httpx
import pytest

from tests.integration.batches import holds, key, line, problems, recorded, send, verdicts

pytestmark = pytest.mark.timeout(300)
_devices = count(1)


@pytest.fixture
def device(live):
    """A device of its own for a test, with every right; its name and its key."""
    name = f"handheld-{next(_devices)}"
    return name, live.enrol(name, "referee", "head_referee", "chrono", "gear", "desk", "manager", "staging")


@pytest.fixture
def numbers(request):
    """Numbers that no other test uses, as keys are of the whole park."""
    return count(10**12 + crc32(request.node.name.encode()) * 1000)


def own(numbers, many):
    return [next(numbers) for _ in range(many)]


def holes(live, device, role="manager"):
    answer = live.get(f"/parks/{live.park}/devices/{device}/sequence", role)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_facts_are_recorded_in_the_order_of_their_lines_each_with_its_receipt(live, device, numbers):
    name, secret = device
    mine, before = own(numbers, 300), live.head()
    told, end = verdicts(send(live, secret, b"".join(holds(mine))))
    assert [one["status"] for one in told] == [201] * 300
    assert [one["line"] for one in told] == list(range(1, 301))
    assert [one["seq"] for one in told] == mine
    events = recorded(live, before, name)
    assert [str(event.id) for event in events] == [key(one) for one in mine]
    assert [event.device_seq for event in events] == mine
    assert [one["receipt"]["position"] for one in told] == [event.position for event in events]
    assert end == {"end": True, "lines": 300, "epoch": 1, "signed": 0, "resume": None}


def test_a_batch_sent_again_whole_or_in_part_gets_its_first_answers_and_records_nothing(live, device, numbers):
    _, secret = device
    lines = holds(own(numbers, 40))
    first, _ = verdicts(send(live, secret, b"".join(lines)))
    before = live.head()
    again, _ = verdicts(send(live, secret, b"".join(lines)))
    part, _ = verdicts(send(live, secret, b"".join(lines[25:] + holds(own(numbers, 1)))))
    assert live.head() == before + 1
    assert all(one["receipt"]["repeat"] for one in again + part[:-1])
    assert not part[-1]["receipt"]["repeat"]
    events = [one["receipt"]["events"] for one in first]
    assert [one["receipt"]["events"] for one in again] == events
    assert [one["receipt"]["events"] for one in part[:-1]] == events[25:]


def test_a_line_is_the_same_request_as_its_body_sent_alone(live, device, numbers):
    _, secret = device
    (number,) = own(numbers, 1)
    body = json.dumps({"hold": f"hold-{number}", "field": None, "cause": "weather"}).encode()
    headers = {"Authorization": f"Bearer {secret}", "Idempotency-Key": f'"{key(number)}"', "Device-Seq": str(number)}
    alone = live.send("games/ask-hold", body, headers)
    (told,), _ = verdicts(send(live, secret, holds([number])[0]))
    assert alone.status_code == 201
    assert told["receipt"] == alone.json() | {"repeat": True}


@pytest.fixture(scope="module")
def ash(live):
    """A player who is registered, and a field."""
    live.post("registration/register-person", {"person": "person-ash", "age_band": 18})
    player = {"player": "ash", "person": "person-ash", "day_pass": "pass-ash", "armband": 17}
    assert live.post("registration/register-player", player).status_code == 201
    field = {"field": "birch", "title": "Birch", "limit_fps": 285, "stop_limit_fps": 300, "age_floor": 10}
    answer = live.post("games/configure-field", field)
    assert answer.status_code == 201, answer.text


@pytest.mark.usefixtures("ash")
def test_a_line_may_rest_on_the_lines_before_it(live, device, numbers):
    _, secret = device
    mine = own(numbers, 4)
    caution = {"violation": "wiping", "field": "birch", "player": "ash"}
    content = [
        line(mine[0], "discipline/caution", caution | {"caution": f"c{mine[0]}"}),
        line(mine[1], "discipline/caution", caution | {"caution": f"c{mine[0]}"}),
        line(mine[2], "discipline/raise-appeal", {"appeal": f"a{mine[0]}", "caution": f"c{mine[0]}", "player": "ash"}),
        line(mine[3], "discipline/raise-appeal", {"appeal": f"a{mine[0]}", "caution": f"c{mine[1]}", "player": "ash"}),
    ]
    told, _ = verdicts(send(live, secret, b"".join(content)))
    assert problems(told) == ["-", "already-recorded", "-", "unknown-subject"]


def test_what_is_wrong_with_a_line_is_told_by_its_problem_and_the_rest_goes_on(live, device, numbers):
    name, secret = device
    mine = own(numbers, 12)
    good = holds(mine)
    foreign = live.post(
        "games/ask-hold", {"hold": "h-foreign", "cause": "weather"}, idempotency_key=f'"{key(mine[5])}"'
    )
    assert foreign.status_code == 201
    before = live.head()
    content = [
        good[0],
        b"{not json\n",
        good[1],
        b'{"key":"'
        + key(mine[2]).encode()
        + b'","seq":1,"command":"games/ask-hold","body":{"hold":"'
        + b"x" * 1_000_001
        + b'"}}\n',
        good[3],
        good[5],
        holds([mine[0]])[0].replace(b"weather", b"injury"),
        line(mine[6], "games/start-game", {"game": "g1"}),
        line(mine[7], "games/stop-the-sky", {}),
        line(mine[8], "games/ask-hold", {"hold": "h", "field": None, "cause": "boredom"}),
        good[9].replace(b'"seq"', b'"sequence"'),
        b"\xff\xfe\n",
        b"\n",
        good[11],
        good[10][:-1],
    ]
    told, end = verdicts(send(live, secret, b"".join(content)))
    assert problems(told) == [
        "-",
        "malformed-body",
        "-",
        "body-too-large",
        "-",
        "idempotency-key-reused",
        "idempotency-key-reused",
        "not-offline",
        "not-found",
        "invalid-body",
        "invalid-body",
        "malformed-body",
        "-",
        "line-cut",
    ]
    assert [one["line"] for one in told] == [*range(1, 13), 14, 15]
    assert [one["problem"]["status"] for one in told if "problem" in one] == [
        400,
        413,
        422,
        422,
        422,
        404,
        422,
        422,
        400,
        400,
    ]
    assert end["resume"] is None
    assert [str(event.id) for event in recorded(live, before, name)] == [key(mine[one]) for one in (0, 1, 3, 11)]
    waiting = live.get(f"/parks/{live.park}/devices/set-aside?device={name}", "manager").json()["lines"]
    assert len(waiting) == 8
    assert not any("start-game" in one["claimed"] for one in waiting)
    assert sum(one.get("set_aside", False) for one in told) == 8


def test_what_is_set_aside_is_kept_once_however_often_it_is_sent(live, device, numbers):
    name, secret = device
    (number,) = own(numbers, 1)
    for _ in range(3):
        told, _ = verdicts(send(live, secret, line(number, "games/no-such", {})))
        assert problems(told) == ["not-found"]
    assert len(live.get(f"/parks/{live.park}/devices/set-aside?device={name}", "manager").json()["lines"]) == 1


@pytest.mark.usefixtures("ash")
def test_a_line_that_was_set_aside_and_comes_again_when_it_fits_is_recorded_and_waits_no_more(live, device, numbers):
    name, secret = device
    number, other = own(numbers, 2)
    appeal = line(number, "discipline/raise-appeal", {"appeal": f"a{number}", "caution": f"c{other}", "player": "ash"})
    told, _ = verdicts(send(live, secret, appeal))
    assert problems(told) == ["unknown-subject"]
    caution = {"caution": f"c{other}", "violation": "wiping", "field": "birch", "player": "ash"}
    told, _ = verdicts(send(live, secret, line(other, "discipline/caution", caution) + appeal))
    assert problems(told) == ["-", "-"]
    assert set_aside(live, name) == []
    (judged,) = set_aside(live, name, judged="true")
    assert (judged["outcome"], judged["claimed"]) == ("recorded", None)


def cut_at(live, secret, content, at, until):
    """Send the first bytes of a batch that announces all of them, wait until the log ends there, and hang up."""
    host, port = live.url.removeprefix("http://").split(":")
    head = (
        f"POST /parks/{live.park}/batch HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {secret}\r\n"
        f"Content-Type: application/x-ndjson\r\nContent-Length: {len(content)}\r\n\r\n"
    ).encode()
    with socket.create_connection((host, int(port))) as made:
        made.sendall(head + content[:at])
        patience = time.monotonic() + 10
        while live.head() < until and time.monotonic() < patience:
            time.sleep(0.005)
        assert live.head() == until


def test_cut_at_every_byte_what_came_whole_is_recorded_and_sent_again_each_fact_is_there_once_and_in_order(
    live, numbers
):
    """The rest of the batch comes after the cut, or all of it: either way nothing is missing, doubled or out of turn."""
    length = len(b"".join(holds(own(numbers, 3))))
    for at in range(length + 1):
        name = f"cut-{at}"
        secret, mine, before = live.enrol(name, "referee"), own(numbers, 3), live.head()
        content = b"".join(holds(mine))
        assert len(content) == length
        whole = content[:at].count(b"\n")
        cut_at(live, secret, content, at, before + whole)
        told, end = verdicts(send(live, secret, content))
        assert problems(told) == ["-", "-", "-"], at
        assert [one["receipt"]["repeat"] for one in told] == [number < whole for number in range(3)]
        assert end["resume"] is None
        events = recorded(live, before, name)
        assert [str(event.id) for event in events] == [key(one) for one in mine], at
        assert [event.device_seq for event in events] == mine


def test_lines_are_recorded_as_they_stream_in(live, device, numbers):
    name, secret = device
    mine, before = own(numbers, 2), live.head()
    seen = []

    def slowly():
        first, second = holds(mine)
        yield first[:20]
        yield first[20:] + second[:10]
        until = time.monotonic() + 10
        while not seen and time.monotonic() < until:
            seen.extend(recorded(live, before, name))
            time.sleep(0.02)
        yield second[10:]

    told, _ = verdicts(send(live, secret, slowly()))
    assert [str(event.id) for event in seen] == [key(mine[0])]
    assert problems(told) == ["-", "-"]


def test_ten_thousand_lines_are_taken_and_the_next_one_is_named_to_go_on_from(live, device):
    _, secret = device
    told, end = verdicts(
        send(
            live,
            secret,
            b"".join(line(one, "games/no-such", {}) for one in range(2**44, 2**44 + 1)) + b"\n" * 9_999 + b"x\n",
        )
    )
    assert len(told) == 1
    assert end["resume"] == 10_001


def test_a_batch_of_more_than_sixteen_megabytes_is_too_large(live, device):
    _, secret = device
    answer = send(live, secret, b"x" * 16_000_001)
    assert (answer.status_code, answer.json()["type"]) == (413, "/problems/body-too-large")
    assert "16000000" in answer.json()["detail"]


def test_another_media_type_is_told(live, device):
    _, secret = device
    answer = send(live, secret, b"{}\n", **{"Content-Type": "application/json"})
    assert (answer.status_code, answer.json()["type"]) == (415, "/problems/unsupported-media-type")


def test_a_compressed_batch_is_told_and_its_bytes_are_taken_for_no_lines(live, device):
    name, secret = device
    answer = send(live, secret, gzip.compress(b"{}\n" * 100), **{"Content-Encoding": "gzip"})
    assert (answer.status_code, answer.json()["type"]) == (415, "/problems/unsupported-media-type")
    assert "compressed" in answer.json()["detail"]
    assert live.get(f"/parks/{live.park}/devices/set-aside?device={name}", "manager").json()["lines"] == []


def test_no_lines_are_answered_with_the_end(live, device):
    told, end = verdicts(send(live, device[1], b""))
    assert (told, end["lines"], end["resume"]) == ([], 0, None)


def test_the_end_says_how_far_the_log_is_signed(live, device, numbers):
    verdicts(send(live, device[1], holds(own(numbers, 1))[0]))
    signed = live.http.post(
        f"/parks/{live.park}/evidence/checkpoint", headers={"Authorization": f"Bearer {live.keys['manager']}"}
    )
    assert signed.status_code == 200
    _, end = verdicts(send(live, device[1], b""))
    assert end["signed"] >= live.head() - 1 > 0
    assert end["epoch"] == 1


def test_a_device_without_the_role_has_its_line_set_aside(live, numbers):
    secret = live.enrol(f"office-{next(_devices)}", "integrator")
    told, _ = verdicts(send(live, secret, holds(own(numbers, 1))[0]))
    assert problems(told) == ["not-allowed"]
    assert told[0]["set_aside"]


# --- clocks


def test_a_clock_that_is_off_is_corrected_by_the_contact_and_what_it_claimed_is_kept(live, device, numbers):
    name, secret = device
    (number,), before = own(numbers, 1), live.head()
    theirs = datetime.now(UTC) + timedelta(hours=3)
    claimed = theirs - timedelta(minutes=20)
    body = {"hold": f"hold-{number}", "field": None, "cause": "weather", "occurred_at": claimed.isoformat()}
    verdicts(send(live, secret, line(number, "games/ask-hold", body), **{"Device-Time": theirs.isoformat()}))
    (event,) = recorded(live, before, name)
    assert event.clock == "corrected"
    assert event.claimed_at == claimed
    assert abs(event.occurred_at - (datetime.now(UTC) - timedelta(minutes=20))) < timedelta(seconds=10)


@pytest.mark.usefixtures("ash")
def test_an_impossible_time_of_a_fact_is_marked_and_never_refused(live, device, numbers):
    name, secret = device
    (number,), before = own(numbers, 1), live.head()
    body = {"call": f"aid-{number}", "field": "birch", "place": "on_field", "occurred_at": "1900-01-01T00:00:00Z"}
    told, _ = verdicts(
        send(live, secret, line(number, "games/call-first-aid", body), **{"Device-Time": datetime.now(UTC).isoformat()})
    )
    assert problems(told) == ["-"]
    (event,) = recorded(live, before, name)
    assert (event.clock, event.claimed_at.year) == ("impossible", 1900)
    assert event.occurred_at.year > 2000


def test_a_device_time_that_is_none_is_told(live, device):
    answer = send(live, device[1], b"", **{"Device-Time": "noon"})
    assert (answer.status_code, answer.json()["type"]) == (400, "/problems/invalid-parameter")


# --- the device's own numbers


def test_a_number_that_never_came_is_shown_as_a_hole_until_it_comes(live, device, numbers):
    name, secret = device
    mine = own(numbers, 6)
    content = [
        line(one, "games/ask-hold", {"hold": f"h{one}", "cause": "weather", "field": None}, seq=seq)
        for one, seq in zip(mine, (1, 2, 3, 5, 6, 9), strict=True)
    ]
    verdicts(send(live, secret, b"".join(content)))
    shown = holes(live, name)
    assert shown["held"] == [[1, 3], [5, 6], [9, 9]]
    assert shown["holes"] == [[4, 4], [7, 8]]
    assert (shown["position"], shown["epoch"]) == (live.head(), 1)
    late = [
        line(one, "games/ask-hold", {"hold": f"h{one}", "cause": "weather", "field": None}, seq=seq)
        for one, seq in zip(own(numbers, 3), (8, 4, 7), strict=True)
    ]
    verdicts(send(live, secret, b"".join(late)))
    assert holes(live, name)["holes"] == []
    assert holes(live, name)["held"] == [[1, 9]]


def test_what_was_refused_is_no_hole_alone_or_in_a_batch_and_nothing_of_a_refused_body_is_kept(live, device, numbers):
    name, secret = device
    mine = own(numbers, 4)

    def alone(command, body, seq, key_of):
        headers = {
            "Authorization": f"Bearer {key_of}",
            "Idempotency-Key": f'"{key(next(numbers))}"',
            "Device-Seq": str(seq),
        }
        return live.send(command, body, headers).status_code

    assert alone("games/ask-hold", b'{"hold":1}', 1, secret) == 422
    assert alone("games/ask-hold", b"{", 2, secret) == 400
    assert alone("vault/keep-detail", b'{"secret":"Wren"}', 3, secret) == 422
    assert alone("games/ask-hold", b'"' + b"x" * 1_000_001 + b'"', 4, secret) == 413
    verdicts(
        send(live, secret, line(mine[0], "games/no-such", {}, seq=5) + line(mine[1], "games/start-game", {}, seq=6))
    )
    verdicts(send(live, secret, line(mine[2], "games/ask-hold", {"hold": f"h{mine[2]}", "cause": "weather"}, seq=8)))
    shown = holes(live, name)
    assert shown["refused"] == [[1, 6]]
    assert shown["holes"] == [[7, 7]]
    assert shown["set_aside"] == 1


def test_a_device_that_may_not_ask_is_counted_too(live):
    name = f"screen-{next(_devices)}"
    secret = live.enrol(name, "board")
    headers = {"Authorization": f"Bearer {secret}", "Idempotency-Key": f'"{key(2**45)}"', "Device-Seq": "1"}
    assert live.send("games/ask-hold", b"{}", headers).status_code == 403
    assert holes(live, name)["refused"] == [[1, 1]]


def test_the_count_is_for_the_device_itself_and_for_who_watches_over_all(live, device):
    name, secret = device
    path = f"/parks/{live.park}/devices/{name}/sequence"
    own_answer = live.http.get(path, headers={"Authorization": f"Bearer {secret}"})
    assert own_answer.status_code == 200
    assert [live.get(path, role).status_code for role in ("manager", "auditor", "referee", "integrator")] == [
        200,
        200,
        403,
        403,
    ]
    nobody = live.get(f"/parks/{live.park}/devices/nobody/sequence", "manager")
    assert (nobody.status_code, nobody.json()["type"]) == (404, "/problems/unknown-subject")


def on_the_database(live, sql, *values):
    async def run():
        async with live.running.pool.connection() as connection:
            return await connection.fetch(sql, *values)

    return live.portal.call(run)


def test_in_another_epoch_the_log_is_counted_anew_and_what_was_refused_stays(live, device, numbers):
    """As a restore leaves it: counted in a life of the log that is not this one."""
    name, secret = device
    mine = own(numbers, 3)
    told = [{"hold": f"h{one}", "cause": "weather"} for one in mine]
    verdicts(
        send(
            live,
            secret,
            b"".join(
                line(one, "games/ask-hold", body, seq=seq)
                for seq, (one, body) in enumerate(zip(mine, told, strict=True), 1)
            ),
        )
    )
    verdicts(send(live, secret, line(next(numbers), "games/no-such", {}, seq=4)))
    assert holes(live, name)["held"] == [[1, 3]]
    on_the_database(live, "UPDATE log.counted SET epoch = 7 WHERE park = $1", live.park)
    on_the_database(live, "UPDATE log.sequence SET held = '{[9,10)}' WHERE park = $1 AND device = $2", live.park, name)
    shown = holes(live, name)
    assert (shown["held"], shown["refused"], shown["epoch"]) == ([[1, 3]], [[4, 4]], 1)


def test_where_the_database_is_cut_off_in_the_middle_the_batch_goes_on_from_the_line_it_names(live, device, numbers):
    """Each sending goes on where the last one stopped; in the end all are there once, in their order."""
    name, secret = device
    mine, before = own(numbers, 3000), live.head()
    lines = holds(mine)
    done = threading.Event()

    def cut():
        while not done.wait(0.15):
            with suppress(Exception):
                on_the_database(
                    live,
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND usename = current_user AND pid <> pg_backend_pid()",
                )

    cutting = threading.Thread(target=cut)
    cutting.start()
    begin, sendings = 0, 0
    try:
        while begin < len(lines):
            sendings += 1
            if sendings == 20:
                done.set()
            answer = send(live, secret, b"".join(lines[begin:]))
            if answer.status_code == 503:
                continue
            told, end = verdicts(answer)
            if end["resume"] is None:
                break
            assert told[-1]["problem"]["status"] == 503
            assert not told[-1].get("set_aside", False)
            assert end["resume"] == told[-1]["line"]
            begin += end["resume"] - 1
    finally:
        done.set()
        cutting.join()
    assert [str(event.id) for event in recorded(live, before, name)] == [key(one) for one in mine]


# --- judging what was set aside


def revoke(live, name):
    answer = live.post("devices/revoke-device", {"device": name, "cause": "lost"}, "manager")
    assert answer.status_code == 201, answer.text


def set_aside(live, name, **query):
    answer = live.http.get(
        f"/parks/{live.park}/devices/set-aside",
        params={"device": name} | query,
        headers={"Authorization": f"Bearer {live.keys['manager']}"},
    )
    assert answer.status_code == 200, answer.text
    return answer.json()["lines"]


def test_a_revoked_devices_backlog_waits_for_a_person_and_is_then_recorded_as_it_came(live, device, numbers):
    name, secret = device
    mine, before = own(numbers, 3), live.head()
    old, first, second = holds(mine)
    verdicts(send(live, secret, old))
    revoke(live, name)
    time.sleep(1.1)
    theirs = datetime.now(UTC) + timedelta(hours=1)
    happened = (theirs - timedelta(minutes=5)).isoformat()
    first = line(
        mine[1],
        "games/ask-hold",
        {"hold": f"hold-{mine[1]}", "field": None, "cause": "weather", "occurred_at": happened},
    )
    told, _ = verdicts(send(live, secret, old + first + second, **{"Device-Time": theirs.isoformat()}))
    assert [one["status"] for one in told] == [201, 202, 202]
    assert problems(told) == ["-", "device-revoked", "device-revoked"]
    assert len(recorded(live, before, name)) == 1
    waiting = set_aside(live, name)
    assert [one["key"] for one in waiting] == [key(one) for one in mine[1:]]
    time.sleep(1)

    accepted = live.post("devices/accept-line", {"line": waiting[0]["line"]}, "head_referee")
    assert accepted.status_code == 201, accepted.text
    _, event = recorded(live, before, name)
    assert (str(event.id), event.device_seq, event.clock) == (key(mine[1]), mine[1], "corrected")
    assert abs(event.occurred_at - (datetime.now(UTC) - timedelta(minutes=5))) < timedelta(seconds=30)
    (judgement,) = accepted.json()["events"]
    assert judgement["type"] == "devices.line_accepted"
    assert judgement["data"] == {
        "line": waiting[0]["line"],
        "device": name,
        "position": event.position,
        "sha256": waiting[0]["sha256"],
        "problem": "device-revoked",
    }

    dismissed = live.post("devices/dismiss-line", {"line": waiting[1]["line"], "cause": "did_not_happen"}, "manager")
    assert dismissed.status_code == 201, dismissed.text
    assert len(recorded(live, before, name)) == 2
    assert set_aside(live, name) == []
    judged = {one["line"]: one for one in set_aside(live, name, judged="true")}
    assert [judged[one["line"]]["outcome"] for one in waiting] == ["accepted", "dismissed"]
    assert [judged[one["line"]]["claimed"] for one in waiting] == [None, None]
    again = live.post("devices/accept-line", {"line": waiting[1]["line"]}, "manager")
    assert (again.status_code, again.json()["type"]) == (409, "/problems/not-in-that-state")


def test_a_revoked_key_opens_nothing_but_the_batch(live, device):
    name, secret = device
    revoke(live, name)
    time.sleep(1.1)
    assert (
        live.http.get(
            f"/parks/{live.park}/devices/{name}/sequence", headers={"Authorization": f"Bearer {secret}"}
        ).status_code
        == 401
    )
    assert send(live, secret, b"").status_code == 200
    assert send(live, secret + "x", b"").status_code == 401


def test_accepting_again_under_the_same_key_is_answered_alike_and_records_nothing_more(live, device, numbers):
    name, secret = device
    revoke(live, name)
    time.sleep(1.1)
    verdicts(send(live, secret, holds(own(numbers, 1))[0]))
    (waiting,) = set_aside(live, name)
    wanted = f'"{key(next(numbers))}"'
    first = live.post("devices/accept-line", {"line": waiting["line"]}, "manager", idempotency_key=wanted)
    before = live.head()
    again = live.post("devices/accept-line", {"line": waiting["line"]}, "manager", idempotency_key=wanted)
    assert (first.status_code, again.status_code, live.head()) == (201, 201, before)
    assert again.json()["repeat"]


def test_a_line_that_still_does_not_fit_stays_and_says_why(live, device):
    name, secret = device
    verdicts(send(live, secret, b"{garbled\n"))
    (waiting,) = set_aside(live, name)
    answer = live.post("devices/accept-line", {"line": waiting["line"]}, "manager")
    assert (answer.status_code, answer.json()["type"]) == (400, "/problems/malformed-body")
    assert len(set_aside(live, name)) == 1
    unknown = live.post("devices/dismiss-line", {"line": "line-0", "cause": "unreadable"}, "manager")
    assert (unknown.status_code, unknown.json()["type"]) == (404, "/problems/unknown-subject")


# --- the same key at the same time


def test_the_same_key_while_its_first_request_is_at_work_is_in_flight(live, device, numbers):
    """draft-ietf-httpapi-idempotency-key-header-07, section 2.6: 409 while the first is processed."""
    _, secret = device
    (number,) = own(numbers, 1)
    park = live.running.parks[live.park]
    park.at_work.add(UUID(key(number)))
    try:
        answer = live.post("games/ask-hold", {"hold": "h", "cause": "weather"}, idempotency_key=f'"{key(number)}"')
        assert (answer.status_code, answer.json()["type"]) == (409, "/problems/in-flight")
        assert answer.headers["retry-after"] == "1"
        told, end = verdicts(send(live, secret, b"".join(holds([number, next(numbers)]))))
        assert (problems(told), end["resume"]) == (["in-flight"], 1)
        assert not told[0].get("set_aside", False)
    finally:
        park.at_work.discard(UUID(key(number)))
    told, _ = verdicts(send(live, secret, holds([number])[0]))
    assert problems(told) == ["-"]


def test_of_many_at_once_under_one_key_one_is_recorded_and_the_others_are_in_flight_or_repeats(live, numbers):
    (number,) = own(numbers, 1)
    before = live.head()
    body = json.dumps({"hold": f"h{number}", "cause": "weather"}).encode()

    async def at_once():
        async with httpx.AsyncClient(base_url=live.url, timeout=20) as client:
            headers = {
                "Authorization": f"Bearer {live.keys['referee']}",
                "Idempotency-Key": f'"{key(number)}"',
                "Content-Type": "application/json",
            }
            path = f"/parks/{live.park}/games/ask-hold"
            return await asyncio.gather(*(client.post(path, content=body, headers=headers) for _ in range(30)))

    answers = asyncio.run(at_once())
    assert live.head() == before + 1
    assert {one.status_code for one in answers} <= {201, 409}
    assert all(one.json()["type"] == "/problems/in-flight" for one in answers if one.status_code == 409)
    assert 201 in {one.status_code for one in answers}
