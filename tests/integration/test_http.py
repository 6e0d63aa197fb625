"""Every write route against bad input, wrong keys and repeats: problem+json, never a 5xx, and nothing written."""

import hashlib
import time
from contextlib import closing
from datetime import UTC, datetime
from http.client import HTTPConnection
from urllib.parse import urlsplit
from uuid import uuid4

import msgspec
import pytest

from contracts import openapi
from contracts.catalogue import COMMANDS
from contracts.examples import EXAMPLES
from contracts.leaf import decode
from contracts.reads import READS
from services.core.following import PATIENCE
from tests.integration.live import ROLES

pytestmark = pytest.mark.timeout(120)

HANDLED = sorted(COMMANDS)
FACTS = [path for path in HANDLED if COMMANDS[path].FACT]
ASKED = [path for path in HANDLED if not COMMANDS[path].FACT]
YEAR_1900 = "1900-01-01T12:00:00Z"


def example(path):
    return EXAMPLES[COMMANDS[path]]


def encoded(body):
    return msgspec.json.encode(body)


def spoilt(path):
    """The example with the value of its first field replaced by a list in a list, which no field takes."""
    body = example(path)
    return body | {next(iter(body)): [[None]]}


def required(path):
    """The first field that a command must have, if any."""
    return next((field.name for field in msgspec.structs.fields(COMMANDS[path]) if field.required), None)


def cut(path):
    """The example without a field that must be there."""
    return {name: value for name, value in example(path).items() if name != required(path)}


BODIES = {
    "a wrong type": (lambda path: encoded(spoilt(path)), 422, "invalid-body"),
    "an unknown field": (lambda path: encoded(example(path) | {"colour_of_the_sky": 1}), 422, "invalid-body"),
    "an absent field": (lambda path: encoded(cut(path)), 422, "invalid-body"),
    "an array": (lambda path: encoded([example(path)]), 422, "invalid-body"),
    "null": (lambda _: b"null", 422, "invalid-body"),
    "a time without an offset": (
        lambda path: encoded(example(path) | {"occurred_at": "2026-05-09T09:00:00"}),
        422,
        "invalid-body",
    ),
    "nothing": (lambda _: b"", 400, "malformed-body"),
    "broken UTF-8": (lambda path: encoded(example(path)).replace(b'":', b'\xff":', 1), 400, "malformed-body"),
    "a lone surrogate": (lambda _: b'{"\\ud800":1}', 400, "malformed-body"),
    "NaN": (lambda _: b'{"occurred_at":NaN}', 400, "malformed-body"),
    "half a document": (lambda path: encoded(example(path))[:-1], 400, "malformed-body"),
    "two documents": (lambda path: encoded(example(path)) * 2, 400, "malformed-body"),
    "ten megabytes": (lambda _: b'"' + b"x" * 10_000_000 + b'"', 413, "body-too-large"),
    "a hundred thousand brackets": (lambda _: b"[" * 100_000, 422, "invalid-body"),
}
HEADERS = {
    "no key": ({"Authorization": ""}, 401, "not-authenticated"),
    "another scheme": ({"Authorization": "Basic ZGVzazpzZWNyZXQ="}, 401, "not-authenticated"),
    "a key without secret": ({"Authorization": "Bearer device-desk."}, 401, "not-authenticated"),
    "a wrong key": ({"Authorization": "Bearer device-desk.wrong"}, 401, "not-authenticated"),
    "a device nobody knows": ({"Authorization": "Bearer nobody.secret"}, 401, "not-authenticated"),
    "text": ({"Content-Type": "text/plain"}, 415, "unsupported-media-type"),
    "a compressed body": ({"Content-Encoding": "gzip"}, 415, "unsupported-media-type"),
    "a form": ({"Content-Type": "application/x-www-form-urlencoded"}, 415, "unsupported-media-type"),
    "no Idempotency-Key": ({"Idempotency-Key": ""}, 400, "idempotency-key-missing"),
    "a garbled Idempotency-Key": ({"Idempotency-Key": '"17"'}, 400, "idempotency-key-missing"),
    "a garbled Device-Time": ({"Device-Time": "half past nine"}, 400, "invalid-parameter"),
    "a Device-Time in seconds": ({"Device-Time": "1778319015"}, 400, "invalid-parameter"),
    "a negative Device-Seq": ({"Device-Seq": "-1"}, 400, "invalid-parameter"),
    "an Actor with a space": ({"Actor": "staff wren"}, 400, "invalid-parameter"),
}


def refused(response, status, problem):
    """Whether it is this very problem, well formed, with a request id."""
    assert (response.status_code, response.headers["content-type"]) == (status, "application/problem+json"), (
        response.text
    )
    assert len(response.headers["x-request-id"]) == 32
    body = response.json()
    assert (body["type"], body["status"]) == (f"/problems/{problem}", status)
    assert body["title"]
    assert body["detail"].endswith((".", ")", "…"))
    return body


@pytest.fixture(autouse=True)
def _patient(live):
    """Wrong keys of the tests before are forgotten: they would be refused for their number."""
    live.running.devices.tries.forget()


@pytest.fixture
def unwritten(live):
    """Nothing is written to the log during the test."""
    before = live.head()
    yield
    assert live.head() == before


@pytest.mark.parametrize(
    ("path", "fault"),
    [(path, fault) for fault in BODIES for path in HANDLED if fault != "an absent field" or required(path)],
)
@pytest.mark.usefixtures("unwritten")
def test_a_body_that_does_not_fit_is_a_problem_and_writes_nothing(live, path, fault):
    make, status, problem = BODIES[fault]
    body = refused(live.send(path, make(path), live.headers()), status, problem)
    assert body["instance"] == f"/parks/{live.park}/{path}"


@pytest.mark.parametrize("path", HANDLED)
@pytest.mark.parametrize("fault", HEADERS)
@pytest.mark.usefixtures("unwritten")
def test_a_header_that_does_not_fit_is_a_problem_and_writes_nothing(live, path, fault):
    headers, status, problem = HEADERS[fault]
    refused(live.send(path, encoded(example(path)), live.headers() | headers), status, problem)


DOUBLED = {
    "Idempotency-Key": '"017f22e2-79b0-7cc3-98c4-dc0c0c07398f"',
    "Authorization": "Bearer device-desk.wrong",
    "Device-Time": "2026-05-09T09:30:00Z",
    "Device-Seq": "17",
    "Actor": "staff-wren",
    "Content-Type": "application/json",
}


@pytest.mark.parametrize(
    "path", ["velocity/check-chrono", "games/start-game", "vault/keep-detail", "devices/revoke-device"]
)
@pytest.mark.parametrize("name", DOUBLED)
@pytest.mark.parametrize("other", [False, True])
@pytest.mark.usefixtures("unwritten")
def test_a_header_that_is_given_twice_is_a_problem_whether_the_two_differ_or_not(live, path, name, other):
    headers = live.headers() | {"Content-Type": "application/json"}
    once = headers.setdefault(name, DOUBLED[name])
    again = DOUBLED[name] + "1" if other and once == DOUBLED[name] else DOUBLED[name] if other else once
    answer = live.http.post(
        f"/parks/{live.park}/{path}", content=encoded(example(path)), headers=[*headers.items(), (name.lower(), again)]
    )
    problem = "idempotency-key-missing" if name == "Idempotency-Key" else "invalid-parameter"
    body = refused(answer, 400, problem)
    assert body["detail"] == f"There are 2 headers {name}, and nobody knows which counts. Send one."
    assert body.get("where") in {name, None}


def test_two_places_to_go_on_from_are_none(live):
    headers = [
        ("Authorization", f"Bearer {live.keys['everything']}"),
        ("Last-Event-ID", "1:0"),
        ("Last-Event-ID", "1:1"),
    ]
    for path in ("events/stream", "board/stream"):
        assert (
            refused(live.http.get(f"/parks/{live.park}/{path}", headers=headers), 400, "invalid-parameter")["where"]
            == "Last-Event-ID"
        )


@pytest.mark.usefixtures("unwritten")
def test_a_body_that_says_twice_how_it_is_packed_is_packed(live):
    """Such a header is a list, which may come in parts (RFC 9110, 5.3 and 8.4)."""
    headers = [*live.headers().items(), ("Content-Encoding", "identity"), ("Content-Encoding", "gzip")]
    answer = live.http.post(f"/parks/{live.park}/velocity/check-chrono", content=b"{}", headers=headers)
    assert "identity, gzip" in refused(answer, 415, "unsupported-media-type")["detail"]


def test_a_write_that_leaves_open_what_is_meant_leaves_its_number_where_that_is_clear(live):
    """A device's count shows no hole where nothing was lost."""
    key = live.enrol("doubling-1", "chrono")
    path = f"/parks/{live.park}/velocity/register-chrono"
    sent = [("Authorization", f"Bearer {key}"), ("Idempotency-Key", f'"{uuid4()}"')]
    at = "2026-05-09T09:30:00Z"
    for more in (
        [("Device-Seq", "1"), ("Device-Time", at), ("Device-Time", at)],
        [("Device-Seq", "2"), ("Idempotency-Key", f'"{uuid4()}"')],
        [("Device-Seq", "3"), ("Device-Seq", "4")],
    ):
        assert live.http.post(path, json={"chrono": "chrono-q"}, headers=[*sent, *more]).status_code == 400
    queried = live.http.post(f"{path}?dry_run=1", json={"chrono": "chrono-q"}, headers=[*sent, ("Device-Seq", "5")])
    assert queried.status_code == 400
    assert live.get(f"/parks/{live.park}/devices/doubling-1/sequence").json()["holes"] == [[3, 4]]


def test_what_only_reads_leaves_no_number_though_it_bears_one(live):
    """It names a fact that is still on its way: counted as refused, nobody would miss it."""
    key = live.enrol("doubling-2", "chrono")
    sent = {"Authorization": f"Bearer {key}", "Device-Seq": "1"}
    path = f"/parks/{live.park}/devices"
    for asked, status in (("/doubling-2/sequence?afetr=1:0", 400), ("/set-aside", 403)):
        assert live.http.get(path + asked, headers=sent).status_code == status
    told = live.http.post(f"/parks/{live.park}/batch?dry_run=1", content=b"", headers=sent)
    assert told.status_code == 400
    assert live.get(f"{path}/doubling-2/sequence").json()["refused"] == []


@pytest.mark.parametrize("path", ["devices/enrol", "games/propose-teams", "velocity/lines/chrono-a"])
@pytest.mark.usefixtures("unwritten")
def test_a_compressed_body_is_told_where_no_command_is_sent_too(live, path):
    headers = {"Authorization": live.headers()["Authorization"], "Content-Encoding": "br"}
    response = live.http.post(f"/parks/{live.park}/{path}", content=b"\x1f\x8b", headers=headers)
    assert "compressed" in refused(response, 415, "unsupported-media-type")["detail"]


@pytest.mark.parametrize("path", ASKED)
@pytest.mark.usefixtures("unwritten")
def test_a_command_dated_1900_is_impossible(live, path):
    refused(live.post(path, example(path) | {"occurred_at": YEAR_1900}), 422, "impossible-time")


@pytest.mark.parametrize("name", ["nowhere", "%00", "%ff", "..", "Larchmoor", "x" * 5000])
@pytest.mark.usefixtures("unwritten")
def test_a_park_that_is_not_here_is_not_found_and_no_other_is_named(live, name):
    response = live.http.post(f"/parks/{name}/velocity/register-chrono", json={}, headers=live.headers())
    body = refused(response, 404, "not-found")
    assert live.park not in body["detail"]


@pytest.mark.usefixtures("unwritten")
def test_a_method_that_a_route_does_not_take_is_a_problem(live):
    path = f"/parks/{live.park}/velocity/check-chrono"
    for method in ("GET", "PUT", "PATCH", "DELETE"):
        response = live.http.request(method, path, headers=live.headers())
        refused(response, 405, "method-not-allowed")
        assert set(response.headers["allow"].split(", ")) == {"OPTIONS", "POST"}  # RFC 9110, 15.5.6
    response = live.http.delete(f"/parks/{live.park}/board.json")
    assert set(response.headers["allow"].split(", ")) == {"OPTIONS", "GET", "HEAD"}
    assert refused(response, 405, "method-not-allowed")


ONE_BY_ONE = {"date", "x-request-id", "content-length"}
"""Of each answer its own: some tell the time."""


@pytest.mark.parametrize("read", [read for read in READS if read.method == "get"], ids=lambda read: read.path)
@pytest.mark.parametrize("key", ["everything", "gear", None])
def test_head_is_answered_like_get_without_a_body(live, read, key):
    """RFC 9110, 9.3.2: the server SHOULD send the same header fields, and no content."""
    path = read.path.replace("{park}", live.park).replace("{device}", "device-everything")
    headers = {} if key is None else {"Authorization": f"Bearer {live.keys[key]}"}
    with live.http.stream("GET", path, headers=headers) as whole:
        head = live.http.head(path, headers=headers)
    assert (head.status_code, head.content) == (whole.status_code, b"")
    kept = [
        {name: value for name, value in answer.headers.items() if name not in ONE_BY_ONE | {"transfer-encoding"}}
        for answer in (head, whole)
    ]
    assert kept[0] == kept[1]


def test_nothing_follows_the_head_of_an_answer_and_the_connection_goes_on(live):
    """Of a page, of JSON and of streams without end, on one connection: a byte of a body would be taken for the next answer's status."""
    where = urlsplit(live.url)
    with closing(HTTPConnection(where.hostname, where.port, timeout=5)) as connection:
        connection.connect()
        made = connection.sock
        for path in ("board", "board.json", "board/stream", "events/stream", "events", "events/stream?after=1:0"):
            connection.request("HEAD", f"/parks/{live.park}/{path}", headers=live.headers())
            answer = connection.getresponse()
            assert (answer.status, answer.read()) == (200, b"")
        connection.request("GET", "/health")
        assert connection.getresponse().read() == b'{"status":"alive"}'
        assert connection.sock is made


@pytest.mark.parametrize("path", ["registration/desk-list?", "games/gate?field=birch&"])
def test_whoever_wants_the_head_of_what_can_be_followed_does_not_wait_for_something_newer(live, path):
    assert live.post("games/configure-field", {"field": "birch", "title": "Birch"}).status_code in {201, 409}
    begun = time.monotonic()
    answer = live.http.head(f"/parks/{live.park}/{path}after=1:{live.head()}", headers=live.headers())
    assert (answer.status_code, time.monotonic() - begun < PATIENCE / 2) == (200, True)


def test_a_head_that_is_refused_says_so_with_its_status(live):
    assert live.http.head(f"/parks/{live.park}/events?afer=7", headers=live.headers()).status_code == 400
    assert live.http.head("/nothing").status_code == 404
    assert live.http.head(f"/parks/{live.park}/velocity/check-chrono", headers=live.headers()).status_code == 405


@pytest.mark.parametrize("path", ["registration/register-person", "clearance", "board.json"])
def test_asking_for_a_paths_methods_needs_no_role_and_breaks_nothing(live, path):
    answer = live.http.options(f"/parks/{live.park}/{path}")
    assert (answer.status_code, "OPTIONS" in answer.headers["allow"]) == (204, True)


def test_a_path_that_is_none_is_a_problem(live):
    assert "/docs" in refused(live.http.get("/nothing"), 404, "not-found")["detail"]


@pytest.mark.usefixtures("unwritten")
def test_an_empty_body_is_called_empty_and_not_cut(live):
    body = refused(live.send("registration/register-person", b"", live.headers()), 400, "malformed-body")
    assert body["detail"].startswith("The body is empty.")


@pytest.mark.parametrize("path", HANDLED)
@pytest.mark.usefixtures("unwritten")
def test_a_role_gets_past_the_gate_exactly_where_the_command_lists_it(live, path):
    """The body is none, so that who is let in writes nothing."""
    for role in ROLES:
        response = live.send(path, b"[]", live.headers(role))
        expected = (422, "invalid-body") if role in COMMANDS[path].ROLES else (403, "not-allowed")
        refused(response, *expected)


@pytest.mark.parametrize("read", READS, ids=lambda read: read.path)
def test_a_role_reads_exactly_what_the_contract_lets_it_read(live, read):
    """Only the status is waited for: a stream has no end."""
    for role in ROLES:
        path = read.path.replace("{park}", live.park).replace("{device}", f"device-{role}")
        forbidden = read.roles is not None and role not in read.roles
        headers = {"Authorization": f"Bearer {live.keys[role]}"}
        with live.http.stream(read.method.upper(), path, headers=headers) as response:
            assert (response.status_code == 403) is forbidden
    with live.http.stream(read.method.upper(), read.path.replace("{park}", live.park)) as response:
        assert (response.status_code == 401) is (read.roles is not None)


def test_a_revoked_device_is_told_so(live):
    key = live.enrol("device-lost", "chrono")
    live.portal.call(live.running.devices.revoke, live.park, "device-lost")
    response = live.http.post(
        f"/parks/{live.park}/velocity/register-chrono",
        json={"chrono": "chrono-lost"},
        headers=live.headers() | {"Authorization": f"Bearer {key}"},
    )
    assert "revoked" in refused(response, 401, "key-revoked")["detail"]


@pytest.mark.usefixtures("unwritten")
def test_a_key_of_another_park_opens_nothing_here(live):
    enrol = live.running.devices.enrol
    key = live.portal.call(enrol, "elsewhere", "device-desk", frozenset({"manager"}), "test")
    body = encoded({"chrono": "chrono-x"})
    headers = live.headers() | {"Authorization": f"Bearer {key}"}
    refused(live.send("velocity/register-chrono", body, headers), 401, "not-authenticated")


@pytest.fixture
def chrono(live):
    """The name of a chronograph that is registered."""
    name = f"chrono-{uuid4()}"
    assert live.post("velocity/register-chrono", {"chrono": name}).status_code == 201
    return name


def test_a_write_is_answered_with_the_hash_of_the_very_bytes_in_the_log(live, chrono):
    response = live.post("velocity/check-chrono", {"chrono": chrono, "good": True}, actor="staff-wren", device_seq="7")
    receipt = response.json()
    assert response.status_code == 201
    assert (receipt["park"], receipt["position"], receipt["repeat"]) == (live.park, live.head(), False)
    (event,) = receipt["events"]
    leaf = live.leaf(event["position"])
    assert event["leaf_sha256"] == hashlib.sha256(b"\0" + leaf).hexdigest()
    nothing_read = {"bias_fps": None, "readings_fps": [], "reference_fps": [], "signals": []}
    assert event["data"] == {"chrono": chrono, "good": True} | nothing_read
    recorded = decode(leaf)
    assert (recorded.actor, recorded.device) == ("staff-wren", "device-everything")
    assert f'"id":"{event["id"]}"' in leaf.decode()
    assert '"device_seq":7' in leaf.decode()


@pytest.mark.parametrize("command", ["velocity/register-chrono", "velocity/check-chrono"])
def test_the_same_request_again_is_recorded_once_and_answered_alike(live, chrono, command):
    body = {"chrono": chrono, "good": True} if command.endswith("check-chrono") else {"chrono": f"{chrono}-b"}
    headers = live.headers()
    first = live.send(command, encoded(body), headers)
    head = live.head()
    again = live.send(command, encoded(body), headers)
    assert (first.status_code, again.status_code) == (201, 201)
    assert (first.json()["repeat"], again.json()["repeat"]) == (False, True)
    assert again.json() | {"repeat": False} == first.json()
    assert first.headers["x-request-id"] != again.headers["x-request-id"]
    assert live.head() == head


def test_the_key_of_a_request_is_the_id_of_its_first_event(live, chrono):
    key = uuid4()
    response = live.post("velocity/check-chrono", {"chrono": chrono, "good": True}, idempotency_key=f'"{key}"')
    assert response.json()["events"][0]["id"] == str(key)


def test_a_used_key_with_another_body_or_device_is_refused(live, chrono):
    headers = live.headers()
    body = {"chrono": chrono, "good": True}
    assert live.send("velocity/check-chrono", encoded(body), headers).status_code == 201
    head = live.head()
    other_device = headers | {"Authorization": f"Bearer {live.keys['chrono']}"}
    other_body = encoded(body | {"good": False})
    refused(live.send("velocity/check-chrono", other_body, headers), 422, "idempotency-key-reused")
    refused(live.send("velocity/check-chrono", encoded(body), other_device), 422, "idempotency-key-reused")
    assert live.head() == head


def test_a_used_key_with_the_same_body_for_another_command_is_refused(live):
    person, headers = f"person-{uuid4()}", live.headers()
    assert live.post("registration/register-person", {"person": person, "age_band": 18}).status_code == 201
    body = encoded({"person": person})
    assert live.send("registration/ban-person", body, headers).status_code == 201
    refused(live.send("registration/lift-ban", body, headers), 422, "idempotency-key-reused")


def test_a_refused_request_may_use_its_key_again(live, chrono):
    headers = live.headers()
    other = f"{chrono}-later"
    body = encoded({"chrono": other, "good": True})
    refused(live.send("velocity/check-chrono", body, headers), 404, "unknown-subject")
    assert live.post("velocity/register-chrono", {"chrono": other}).status_code == 201
    assert live.send("velocity/check-chrono", body, headers).status_code == 201


def test_a_fact_dated_1900_is_recorded_at_its_receipt_and_marked(live, chrono):
    response = live.post("velocity/check-chrono", {"chrono": chrono, "good": True, "occurred_at": YEAR_1900})
    assert response.status_code == 201
    recorded = decode(live.leaf(response.json()["position"]))
    assert recorded.clock == "impossible"
    assert recorded.occurred_at.year >= datetime.now(UTC).year - 1
    assert '"claimed_at":"1900-01-01T12:00:00Z"' in live.leaf(response.json()["position"]).decode()


@pytest.mark.parametrize(
    ("claimed", "device_time"),
    [
        ("9999-12-31T23:59:59Z", "1985-04-12T23:20:50Z"),
        ("2026-05-09T09:00:00Z", "9999-12-31T23:59:59Z"),
        ("0001-01-01T00:00:00+23:59", "9000-01-01T00:00:00Z"),
    ],
)
def test_a_clock_so_wrong_that_no_calendar_holds_the_correction_is_impossible_and_breaks_nothing(
    live, chrono, claimed, device_time
):
    fact = live.post(
        "velocity/check-chrono", {"chrono": chrono, "good": True, "occurred_at": claimed}, device_time=device_time
    )
    assert fact.status_code == 201
    assert decode(live.leaf(fact.json()["position"])).clock == "impossible"
    new = {"chrono": f"{chrono}-d", "occurred_at": claimed}
    refused(live.post("velocity/register-chrono", new, device_time=device_time), 422, "impossible-time")


@pytest.mark.usefixtures("unwritten")
def test_a_name_that_ends_in_a_line_feed_is_no_name(live):
    refused(live.post("velocity/register-chrono", {"chrono": "chrono-n\n"}), 422, "invalid-body")


@pytest.mark.parametrize(
    ("query", "missing"),
    [("clearance?field=birch", "players"), ("clearance?players=ada", "field"), ("clearance/players/ada", "field")],
)
def test_a_parameter_that_is_missing_is_asked_for_by_name(live, query, missing):
    problem = refused(live.get(f"/parks/{live.park}/{query}"), 400, "invalid-parameter")
    assert problem["detail"].startswith(f"{missing} is missing.")
    assert problem["where"] == missing


def problem_of(live, method, path, query, **more):
    """Only the start of an answer is waited for, where it is no problem: a stream has no end."""
    path = path.replace("{park}", live.park).replace("{device}", "device-everything")
    headers = {"Authorization": f"Bearer {live.keys['everything']}"} | more
    with live.http.stream(method, f"{path}?{query}", headers=headers) as response:
        if response.headers["content-type"] != "application/problem+json":
            return None
        response.read()
        return refused(response, response.status_code, response.json()["type"].removeprefix("/problems/"))


@pytest.mark.parametrize("read", READS, ids=lambda read: f"{read.method} {read.path}")
def test_a_parameter_that_a_route_does_not_take_is_named_with_those_that_it_takes(live, read):
    problem = problem_of(live, read.method.upper(), read.path, "afer=7")
    if read.any_query:
        assert problem is None
        return
    assert (problem["type"], problem["status"], problem["where"]) == ("/problems/invalid-parameter", 400, "afer")
    named = ", ".join(sorted(one.name for one in read.parameters)) or "none"
    assert problem["detail"] == f"This takes no parameter afer; it takes {named}. Correct its name, or leave it out."


ONCE = [(read, one.name) for read in READS for one in read.parameters if one.name not in {"type", "tag"}]


@pytest.mark.parametrize(("read", "name"), ONCE, ids=lambda part: getattr(part, "path", part))
def test_a_parameter_that_is_taken_once_is_refused_twice(live, read, name):
    problem = problem_of(live, read.method.upper(), read.path, f"{name}=1:1&{name}=1:1")
    assert (problem["type"], problem["where"]) == ("/problems/invalid-parameter", name)
    assert problem["detail"] == f"{name} is given 2 times, and is taken once. Leave out the others."


@pytest.mark.parametrize("path", HANDLED)
@pytest.mark.usefixtures("unwritten")
def test_a_command_takes_no_query(live, path):
    problem = problem_of(live, "POST", f"/parks/{{park}}/{path}", "dry_run=1", **live.headers())
    assert (problem["type"], problem["where"]) == ("/problems/invalid-parameter", "dry_run")


def test_no_name_of_a_parameter_breaks_what_is_said_of_it(live):
    for query in ("=7", "%00=1", "%ff=1", "x" * 5000 + "=", "%F0%9F%8E%AF=1", "after%5B%5D=1:1"):
        problem = problem_of(live, "GET", "/parks/{park}/events", query)
        assert (problem["type"], len(problem["where"]) <= 40) == ("/problems/invalid-parameter", True), query


def test_whoever_may_not_ask_is_not_told_of_parameters(live):
    path = f"/parks/{live.park}/events?afer=7"
    refused(live.http.get(path), 401, "not-authenticated")
    refused(live.get(path, "desk"), 403, "not-allowed")


@pytest.mark.parametrize("service", sorted({path.partition("/")[0] for path in COMMANDS}))
def test_every_documented_write_route_of_a_service_is_there(live, service):
    documented = {path for path in openapi.document()["paths"] if path.split("/")[3:4] == [service]}
    assert documented <= routes(live)


def test_every_route_is_documented_and_every_documented_read_is_there(live):
    paths = openapi.document()["paths"]
    assert routes(live) <= set(paths)
    assert {path for path, ways in paths.items() if "get" in ways} <= routes(live)


def test_a_route_takes_the_methods_that_are_documented(live):
    paths = openapi.document()["paths"]
    for route in live.running.app.routes:
        methods = {method.lower() for method in route.methods} - {"options", "head"}
        assert methods == set(paths[route.path_format]), route.path_format


def routes(live):
    """The paths that the application really has."""
    return {route.path_format for route in live.running.app.routes}


def test_a_time_zone_that_is_none_is_not_adopted_and_the_park_goes_on(live, chrono):
    rules = {"version": "larchmoor-odd", "time_zone": "Nowhere/Atall"}
    response = live.post("park/adopt-rules", {"rules": rules})
    assert 400 <= response.status_code < 500
    assert live.post("velocity/check-chrono", {"chrono": chrono, "good": True}).status_code == 201
