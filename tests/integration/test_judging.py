"""Lines that were set aside, judged many at once: each by its own rules, in order; what is refused again stays and says why."""

import json
from asyncio import create_task, to_thread, wait
from datetime import UTC, datetime, timedelta
from itertools import count

import pytest

from contracts.problems import Contended, Unavailable
from services.core import set_aside as kept
from services.core.batch import Batch
from services.core.in_order import InOrder
from services.core.park import Park
from services.core.set_aside import SetAside
from services.devices import asides
from tests.integration.batches import holds, key, line, problems, recorded, send, verdicts

pytestmark = pytest.mark.timeout(120)
_devices = count(1)
_numbers = count(3 * 10**12)


@pytest.fixture
def device():
    return f"kiosk-{next(_devices)}"


@pytest.fixture
def numbers():
    return [next(_numbers) for _ in range(12)]


def left_behind(live, device, *content):
    """These lines of a device that was revoked before it sent them."""
    secret = live.enrol(device, "referee", "head_referee", "desk", "manager")
    assert live.post("devices/revoke-device", {"device": device, "cause": "misused"}, "manager").status_code == 201
    told, end = verdicts(send(live, secret, b"".join(content)))
    assert (len(told), end["resume"]) == (len(content), None)
    return told


def waiting(live, device, **query):
    asked = "".join(f"&{name}={value}" for name, value in query.items())
    answer = live.get(f"/parks/{live.park}/devices/set-aside?device={device}{asked}", "manager")
    assert answer.status_code == 200, answer.text
    return answer.json()["lines"]


def groups(live, device):
    answer = live.get(f"/parks/{live.park}/devices/set-aside/groups", "auditor").json()
    return answer["as_of"], [one for one in answer["groups"] if one["device"] == device]


def judge(live, what, device, role="manager", idempotency_key=None, **more):
    body = {"device": device, "received_until": groups(live, device)[0], **more}
    named = {"idempotency_key": idempotency_key} if idempotency_key else {}
    return live.post(f"devices/{what}-lines", body, role, **named)


def done(answer):
    assert answer.status_code == 200, answer.text
    return answer.json()


def refused(answer, status, name, where=""):
    problem = answer.json()
    told = (answer.status_code, problem["type"], problem.get("where", ""))
    assert told == (status, f"/problems/{name}", where), answer.text
    return problem["detail"]


def caution(number, name, field="birch"):
    body = {"violation": "wiping", "field": field, "player": "ash", "caution": f"c{name}"}
    return line(number, "discipline/caution", body)


def test_what_waits_is_told_in_groups_the_device_with_the_most_first(live, device, numbers):
    left_behind(live, f"{device}-b", *holds(numbers[:1]))
    told = left_behind(live, device, *holds(numbers[1:4]), b"{garbled\n", b"{garbled too\n")
    assert problems(told) == ["device-revoked"] * 3 + ["malformed-body"] * 2
    lines = waiting(live, device)
    _, (many, few) = groups(live, device)
    assert many == {
        "device": device,
        "why": "/problems/device-revoked",
        "lines": 3,
        "first_at": lines[0]["received_at"],
        "last_at": lines[2]["received_at"],
        "first_seq": numbers[1],
        "last_seq": numbers[3],
        "such_as": lines[0]["detail"],
    }
    assert few["such_as"] == lines[3]["detail"]
    assert (few["why"], few["lines"], few["first_seq"]) == ("/problems/malformed-body", 2, None)
    all_of_them = live.get(f"/parks/{live.park}/devices/set-aside/groups", "manager").json()["groups"]
    named = [one["device"] for one in all_of_them]
    assert named.index(device) < named.index(f"{device}-b")
    assert [one["line"] for one in waiting(live, device, problem="malformed-body")] == [
        one["line"] for one in lines[3:]
    ]


@pytest.fixture(scope="module")
def ash(live):
    """Somebody who plays on the birch field."""
    for command, body in (
        ("registration/register-person", {"person": "p-ash", "age_band": 18}),
        ("registration/register-player", {"player": "ash", "person": "p-ash", "day_pass": "pass-ash", "armband": 17}),
        ("games/configure-field", {"field": "birch", "title": "Birch", "limit_fps": 285, "stop_limit_fps": 300}),
    ):
        made = live.post(command, body)
        assert made.status_code == 201, made.text


@pytest.mark.usefixtures("ash")
def test_many_are_recorded_in_their_order_and_one_that_is_refused_again_stays_with_its_sentence(live, device, numbers):
    appeal = {"appeal": f"a{numbers[0]}", "caution": f"c{numbers[0]}", "player": "ash"}
    left_behind(
        live,
        device,
        caution(numbers[0], numbers[0]),
        line(numbers[1], "discipline/raise-appeal", appeal),
        line(numbers[2], "discipline/raise-appeal", appeal | {"caution": "c-nobody"}),
        *holds(numbers[3:4]),
    )
    lines, before = waiting(live, device), live.head()
    answer = done(judge(live, "accept", device, problem="device-revoked", role="head_referee"))
    assert (answer["judged"], answer["remaining"], answer["after"]) == (3, 0, None), answer["stayed"]
    (stayed,) = answer["stayed"]
    assert (stayed["line"], stayed["why"]) == (lines[2]["line"], "/problems/unknown-subject")
    assert "c-nobody" in stayed["detail"]
    events = recorded(live, before, device)
    assert [(str(one.id), one.device_seq) for one in events] == [(key(at), at) for at in (*numbers[:2], numbers[3])]
    told = [one["data"] for one in answer["receipt"]["events"]]
    assert [one["line"] for one in told] == [lines[at]["line"] for at in (0, 1, 3)]
    assert [one["position"] for one in told] == [one.position for one in events]
    assert {one.type for one in recorded(live, before, "device-head_referee")} == {"devices.line_accepted"}
    assert [one["line"] for one in waiting(live, device)] == [lines[2]["line"]]
    judged = waiting(live, device, judged="true")
    assert [one["claimed"] for one in judged] == [None] * 3
    assert {(one["outcome"], one["judged_by"]) for one in judged} == {("accepted", "device-head_referee")}


def test_many_are_dismissed_with_a_reason_each_on_the_record(live, device, numbers):
    left_behind(live, device, *holds(numbers[:3]), b"{garbled\n")
    lines, before = waiting(live, device), live.head()
    answer = done(judge(live, "dismiss", device, cause="did_not_happen"))
    assert (answer["judged"], answer["stayed"]) == (4, [])
    told = [(one["type"], one["data"]["line"], one["data"]["cause"]) for one in answer["receipt"]["events"]]
    assert told == [("devices.line_dismissed", one["line"], "did_not_happen") for one in lines]
    assert (recorded(live, before, device), waiting(live, device)) == ([], [])


def test_the_same_request_again_is_answered_from_the_record_and_its_key_names_no_other(live, device, numbers):
    left_behind(live, device, *holds(numbers[:2]), caution(numbers[2], numbers[2]))
    seen, _ = groups(live, device)
    wanted, body = f'"{key(numbers[5])}"', {"device": device, "received_until": seen, "last_seq": numbers[1]}
    first = done(live.post("devices/accept-lines", body, "manager", idempotency_key=wanted))
    before = live.head()
    again = done(live.post("devices/accept-lines", body, "manager", idempotency_key=wanted))
    assert again["receipt"] == first["receipt"] | {"repeat": True}
    assert (first["judged"], again["judged"], live.head()) == (2, 2, before)
    other = live.post("devices/accept-lines", body | {"last_seq": numbers[2]}, "manager", idempotency_key=wanted)
    refused(other, 422, "idempotency-key-reused")
    assert [one["seq"] for one in waiting(live, device)] == [numbers[2]]


def test_a_request_is_bounded_and_the_next_goes_on_behind_what_stayed(live, device, numbers, monkeypatch):
    monkeypatch.setattr(asides, "MOST_JUDGED", 2)
    appeal = {"appeal": "a", "caution": "c-nobody", "player": "ash"}
    bad = [line(one, "discipline/raise-appeal", appeal | {"appeal": f"a{one}"}) for one in numbers[:3]]
    left_behind(live, device, *bad, *holds(numbers[3:5]))
    told, after = [], None
    for _ in range(3):
        told.append(done(judge(live, "accept", device, after=after)))
        after = told[-1]["after"]
    assert [(one["judged"], len(one["stayed"]), one["remaining"]) for one in told] == [(0, 2, 3), (1, 1, 1), (1, 0, 0)]
    assert told[0]["receipt"] is None
    assert [one["seq"] for one in waiting(live, device)] == numbers[:3]


def test_long_lines_are_judged_fewer_at_a_time(live, device, numbers, monkeypatch):
    """Ten thousand lines of a hostile device may have 64 MB: they are not read at once."""
    monkeypatch.setattr(kept, "MOST_CHOSEN", 1000)
    long = [line(one, "games/ask-hold", {"hold": f"h{one}", "cause": "x" * 700}) for one in numbers[:3]]
    left_behind(live, device, *long)
    answer = done(judge(live, "dismiss", device, cause="unreadable"))
    assert (answer["judged"], answer["remaining"], answer["after"] is None) == (2, 1, False)


def test_lines_of_many_devices_are_judged_by_why_they_wait(live, device):
    devices = device, f"{device}-b"
    for one in devices:
        left_behind(live, one, b"{garbled\n")
    done(judge(live, "dismiss", None, problem="malformed-body", cause="unreadable"))
    assert [waiting(live, one) for one in devices] == [[], []]


def test_only_what_was_seen_and_lies_in_the_span_is_judged(live, device, numbers):
    secret = live.enrol(device, "chrono")
    verdicts(send(live, secret, b"".join(caution(one, one) for one in numbers[:4])))
    seen, (group,) = groups(live, device)
    assert group["why"] == "/problems/not-allowed"
    verdicts(send(live, secret, caution(numbers[4], numbers[4])))
    early = (datetime.now(UTC) - timedelta(hours=1)).isoformat()
    span = {"first_seq": numbers[1], "last_seq": numbers[2]}
    assert done(judge(live, "dismiss", device, cause="unreadable", received_until=early))["judged"] == 0
    later = (datetime.now(UTC) + timedelta(hours=1)).isoformat()
    ahead = judge(live, "dismiss", device, cause="unreadable", received_from=later, received_until=later)
    assert done(ahead)["judged"] == 0
    assert done(judge(live, "dismiss", device, cause="unreadable", problem="device-revoked"))["judged"] == 0
    assert done(judge(live, "dismiss", device, cause="unreadable", **span))["judged"] == 2
    assert done(judge(live, "dismiss", device, cause="unreadable", received_until=seen))["judged"] == 2
    assert [one["seq"] for one in waiting(live, device)] == [numbers[4]]


@pytest.fixture
def broken_off(live, device, numbers, monkeypatch):
    """Two lines that are recorded, when the park breaks off before it is said that they were accepted; the request that did it."""
    left_behind(live, device, *holds(numbers[:2]))
    seen, _ = groups(live, device)
    before, execute = live.head(), Park.execute

    async def cut(park, handler, command, asked):
        if isinstance(command, asides.JudgeLines):
            raise Unavailable("The log cannot be reached.")
        return await execute(park, handler, command, asked)

    asked = {"device": device, "received_until": seen}, "manager"
    with monkeypatch.context() as patched:
        patched.setattr(Park, "execute", cut)
        first = live.post("devices/accept-lines", *asked, idempotency_key=f'"{key(numbers[5])}"')
    refused(first, 503, "unavailable")
    assert len(recorded(live, before, device)) == 2
    return before, lambda: live.post("devices/accept-lines", *asked, idempotency_key=f'"{key(numbers[5])}"')


def test_after_a_cut_the_same_request_finishes_it_and_no_fact_is_there_twice(live, device, broken_off):
    before, again = broken_off
    assert len(waiting(live, device)) == 2
    assert done(again())["judged"] == 2
    assert (len(recorded(live, before, device)), waiting(live, device)) == (2, [])


@pytest.mark.usefixtures("broken_off")
def test_what_was_recorded_before_a_cut_cannot_be_dismissed(live, device):
    """Else the record would hold the fact, and say that somebody had decided against it."""
    answer = done(judge(live, "dismiss", device, cause="did_not_happen"))
    assert (answer["judged"], len(answer["stayed"])) == (0, 2)
    assert "is recorded, at position" in answer["stayed"][0]["detail"]
    body = {"line": waiting(live, device)[0]["line"], "cause": "did_not_happen"}
    assert "Accept it" in refused(live.post("devices/dismiss-line", body, "manager"), 409, "not-in-that-state")
    assert done(judge(live, "accept", device))["judged"] == 2


def test_where_nobody_knows_what_became_of_a_line_none_is_judged_and_the_same_request_goes_on(
    live, device, numbers, monkeypatch
):
    left_behind(live, device, *holds(numbers[:3]))
    seen, _ = groups(live, device)
    wanted, execute, before = f'"{key(numbers[5])}"', InOrder.execute, live.head()

    async def cut(in_order, requests):
        return [*await execute(in_order, requests[:1]), Contended("Others kept changing the same.")]

    with monkeypatch.context() as patched:
        patched.setattr(InOrder, "execute", cut)
        first = judge(live, "accept", device, received_until=seen, idempotency_key=wanted)
    refused(first, 409, "contended")
    assert len(waiting(live, device)) == 3
    assert done(judge(live, "accept", device, received_until=seen, idempotency_key=wanted))["judged"] == 3
    assert [one.device_seq for one in recorded(live, before, device)] == numbers[:3]


def test_where_it_was_judged_and_broken_off_behind_that_the_next_finds_it_judged(live, device, numbers, monkeypatch):
    left_behind(live, device, *holds(numbers[:2]))

    async def cut(*_):
        raise Unavailable("The log cannot be reached.")

    with monkeypatch.context() as patched:
        patched.setattr(asides.Judging, "_forget", cut)
        refused(judge(live, "dismiss", device, cause="did_not_happen"), 503, "unavailable")
    before = live.head()
    answer = done(judge(live, "accept", device, role="head_referee"))
    assert [one["why"] for one in answer["stayed"]] == ["/problems/not-in-that-state"] * 2
    assert (live.head(), waiting(live, device)) == (before, [])
    (event, _) = recorded(live, before - 2, "device-manager")
    for one in waiting(live, device, judged="true"):
        assert (one["outcome"], one["judged_by"]) == ("dismissed", "device-manager")
        assert datetime.fromisoformat(one["judged_at"]) == event.recorded_at


def test_who_may_not_judge_records_nothing_by_it(live, device, numbers):
    left_behind(live, device, *holds(numbers[:1]))
    refused(judge(live, "accept", device, role="referee"), 403, "not-allowed")
    staff = {"staff": "staff-wren", "qualifications": [{"post": "first_aider", "until": "2099-01-01"}]}
    assert live.post("duty/register-staff", staff, "manager").status_code == 201
    before = live.head()
    body = {"device": device, "received_until": groups(live, device)[0]}
    refused(live.post("devices/accept-lines", body, "manager", actor="staff-wren"), 403, "not-allowed")
    one = {"line": waiting(live, device)[0]["line"]}
    refused(live.post("devices/accept-line", one, "manager", actor="staff-wren"), 403, "not-allowed")
    assert (live.head(), len(waiting(live, device))) == (before, 1)


NOW = "2026-05-09T13:40:00Z"


@pytest.mark.parametrize(
    ("body", "status", "problem", "where"),
    [
        ({"received_until": NOW}, 422, "invalid-body", "$"),
        ({"device": "kiosk-1"}, 422, "invalid-body", "$"),
        ({"device": "kiosk-1", "received_until": "yesterday"}, 422, "invalid-body", "$.received_until"),
        ({"device": "kiosk-1", "received_until": "9999-12-31T23:59:59-12:00"}, 422, "invalid-body", "$.received_until"),
        (
            {"device": "kiosk-1", "received_until": NOW, "received_from": "0001-01-01T00:00:00+12:00"},
            422,
            "invalid-body",
            "$.received_from",
        ),
        (
            {"device": "kiosk-1", "received_until": NOW, "first_seq": 9, "last_seq": 8},
            422,
            "invalid-body",
            "$.first_seq",
        ),
        (
            {"device": "kiosk-1", "received_until": NOW, "received_from": "2026-05-09T13:41:00Z"},
            422,
            "invalid-body",
            "$.received_from",
        ),
        ({"problem": "Unknown!", "received_until": NOW}, 422, "invalid-body", "$.problem"),
        ({"device": "kiosk-1", "received_until": NOW, "cause": "weather"}, 422, "invalid-body", "$.cause"),
        ({"device": "kiosk-1", "received_until": NOW, "after": "line-0"}, 404, "unknown-subject", "$.after"),
    ],
)
def test_what_nobody_can_have_meant_is_told(live, body, status, problem, where):
    refused(live.post("devices/dismiss-lines", {"cause": "unreadable"} | body, "manager"), status, problem, where)


def test_all_must_be_dismissed_for_a_reason(live):
    body = {"device": "kiosk-1", "received_until": NOW}
    assert "cause" in refused(live.post("devices/dismiss-lines", body, "manager"), 422, "invalid-body", "$")


@pytest.mark.parametrize(
    ("path", "where"),
    [
        ("set-aside?device=a%00b", "device"),
        ("set-aside?problem=a%00b", "problem"),
        ("set-aside?problem=No+such", "problem"),
        ("a%00b/sequence", "device"),
    ],
)
def test_a_parameter_that_can_name_nothing_is_told(live, path, where):
    """PostgreSQL's text takes no U+0000 (its manual, section 8.3)."""
    refused(live.get(f"/parks/{live.park}/devices/{path}", "manager"), 400, "invalid-parameter", where)


def under(name, number, hold):
    """A fact of this number's under the key of another, which a device must not do."""
    return line(number, "games/ask-hold", {"hold": hold, "field": None, "cause": "weather"}, key=key(name))


def test_of_two_lines_under_one_key_only_the_one_that_is_recorded_is_taken_for_recorded(live, device, numbers):
    """Else the other is told as recorded, and its bytes go."""
    secret = live.enrol(device, "referee")
    good, other = under(numbers[0], numbers[0], "hold-good"), under(numbers[0], numbers[1], "hold-other")
    told, _ = verdicts(send(live, secret, good))
    assert problems(told) == ["-"]
    for lines, outcomes in (
        ((other, good), ["idempotency-key-reused", "-"]),
        ((good, other), ["-", "idempotency-key-reused"]),
    ):
        told, _ = verdicts(send(live, secret, b"".join(lines)))
        assert problems(told) == outcomes
    left_behind(live, device, *holds(numbers[2:3]))
    assert [one["seq"] for one in waiting(live, device)] == [numbers[1], numbers[2]]


@pytest.mark.parametrize("what", ["accept", "dismiss"])
def test_of_two_lines_under_one_key_each_is_judged_as_what_it_is(live, device, numbers, what, monkeypatch):
    good, other = under(numbers[0], numbers[0], "hold-good"), under(numbers[0], numbers[1], "hold-other")
    left_behind(live, device, other, good)
    with monkeypatch.context() as patched:  # the good one is recorded, and still waits
        patched.setattr(asides.Judging, "_accept", lambda *_: Contended("Broken off."))
        done(judge(live, "accept", device, first_seq=numbers[0], last_seq=numbers[0]))
    lines = {one["seq"]: one["line"] for one in waiting(live, device)}
    assert len(lines) == 2
    cause = {"cause": "unreadable"} if what == "dismiss" else {}
    answer = done(judge(live, what, device, **cause))
    (stayed,) = answer["stayed"]
    kept_line = numbers[1] if what == "accept" else numbers[0]
    assert stayed["line"] == lines[kept_line]
    assert [one["seq"] for one in waiting(live, device)] == [kept_line]


@pytest.fixture
def fits_by_now(live, device, numbers):
    """A line that waits and would be recorded if it came again: its device is there for it by now. What sends it again."""
    (one,) = holds(numbers[:1])
    verdicts(send(live, live.enrol(device, "integrator"), one))
    assert len(waiting(live, device)) == 1
    secret = live.enrol(device, "referee")
    return lambda: verdicts(send(live, secret, one))[0]


def test_a_line_that_comes_again_while_it_is_dismissed_waits_for_that(live, device, fits_by_now, monkeypatch):
    before, execute, told = live.head(), Park.execute, []

    async def meanwhile(park, handler, command, asked):
        if isinstance(command, asides.JudgeLines):
            told.extend(await to_thread(fits_by_now))
        return await execute(park, handler, command, asked)

    monkeypatch.setattr(Park, "execute", meanwhile)
    assert done(judge(live, "dismiss", device, cause="did_not_happen"))["judged"] == 1
    assert problems([*told, *fits_by_now()]) == ["in-flight", "not-allowed"]
    assert recorded(live, before, device) == []


@pytest.mark.parametrize("what", ["accept", "dismiss"])
def test_a_line_that_is_coming_again_is_not_judged_meanwhile(live, device, fits_by_now, what, monkeypatch):
    before, look, told = live.head(), Batch._but_for_dismissed, []
    body = {"device": device, "received_until": groups(live, device)[0]}
    body |= {"cause": "did_not_happen"} if what == "dismiss" else {}

    async def meanwhile(batch, *some):
        found = await look(batch, *some)
        told.append(await to_thread(live.post, f"devices/{what}-lines", body, "manager"))
        return found

    monkeypatch.setattr(Batch, "_but_for_dismissed", meanwhile)
    assert problems(fits_by_now()) == ["-"]
    refused(told[0], 409, "in-flight")
    assert (len(recorded(live, before, device)), waiting(live, device)) == (1, [])
    assert [one["outcome"] for one in waiting(live, device, judged="true")] == ["recorded"]


@pytest.mark.usefixtures("fits_by_now")
def test_what_its_device_has_recorded_since_by_itself_is_accepted_whatever_it_was_for_then(live, device, numbers):
    """Else it could be neither accepted nor dismissed."""
    sent = {"Authorization": f"Bearer {live.enrol(device, 'referee')}", "Idempotency-Key": f'"{key(numbers[0])}"'}
    body = json.dumps(json.loads(holds(numbers[:1])[0])["body"]).encode()
    assert live.http.post(f"/parks/{live.park}/games/ask-hold", content=body, headers=sent).status_code == 201
    (stayed,) = done(judge(live, "dismiss", device, cause="did_not_happen"))["stayed"]
    assert "Accept it" in stayed["detail"]
    assert done(judge(live, "accept", device))["judged"] == 1


def test_what_came_before_a_list_is_in_it_though_it_is_set_aside_only_then(live, device, numbers, monkeypatch):
    """Else it would be dismissed with the list by somebody who has not seen it."""
    secret, keep, asking = live.enrol(device, "integrator"), SetAside.keep, []

    async def late(aside, *some):
        asking.append(create_task(to_thread(groups, live, device)))
        await wait(asking, timeout=0.3)
        await keep(aside, *some)

    async def seen():
        return await asking[0]

    monkeypatch.setattr(SetAside, "keep", late)
    verdicts(send(live, secret, *holds(numbers[:1])))
    as_of, listed = live.portal.call(seen)
    judged = done(judge(live, "dismiss", device, cause="unreadable", received_until=as_of))["judged"]
    assert (judged, [one["lines"] for one in listed]) == (1, [1])
