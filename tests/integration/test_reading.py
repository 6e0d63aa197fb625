"""Reading along over HTTP: from any position, by type and tag, through a revocation; nobody who is slow costs the park anything."""

import socket
import time
from itertools import islice
from urllib.parse import urlencode, urlsplit

import httpx
import msgspec
import pytest

from contracts import leaf
from contracts.words import Role
from services.core.auth import Devices, hash_of
from services.core.clock import SystemClock
from tests.integration.live import ROLES

pytestmark = pytest.mark.timeout(180)

READERS: tuple[Role, ...] = ("integrator", "auditor", "manager")


@pytest.fixture(scope="module")
def day(live):
    """A small park: fields, people and their papers."""
    for number in range(30):
        assert live.post("registration/register-person", {"person": f"p-{number}", "age_band": 18}).status_code == 201
    for field in ("birch", "alder"):
        assert live.post("games/configure-field", {"field": field, "title": field.title()}).status_code == 201
        assert live.post("games/inspect-field", {"field": field, "passed": True}).status_code == 201
    return live


def path(live, what="", **query):
    return f"/parks/{live.park}/events{what}?{urlencode(query, doseq=True)}"


def lines(live, role="integrator", **query):
    """The events of an answer, and its end."""
    answer = live.get(path(live, **query), role)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].startswith("application/x-ndjson")
    *events, end = [msgspec.json.decode(line) for line in answer.content.splitlines()]
    assert end["end"] is True
    return events, end


class Reader:
    """One stream of server-sent events, frame by frame."""

    def __init__(self, live, role="integrator", last=None, key=None, **query):
        headers = {"Authorization": f"Bearer {key or live.keys[role]}"} | ({"Last-Event-ID": last} if last else {})
        self._stream = live.http.stream("GET", path(live, "/stream", **query), headers=headers)

    def __enter__(self):
        self.response = self._stream.__enter__()
        assert self.response.status_code == 200, self.response.read()
        self._lines = self.response.iter_lines()
        return self

    def __exit__(self, *how):
        self._stream.__exit__(*how)

    def __iter__(self):
        fields = {}
        for line in self._lines:
            if not line and "data" in fields:
                yield fields
            if not line:
                fields = {}
            elif not line.startswith(":"):
                name, _, value = line.partition(": ")
                fields[name] = value

    def events(self, count):
        found = (msgspec.json.decode(frame["data"]) for frame in self if "event" not in frame)
        return list(islice(found, count))


def positions(events):
    return [event["position"] for event in events]


def test_every_event_is_told_as_its_leaf_has_it(day):
    events, end = lines(day)
    assert positions(events) == list(range(1, day.head() + 1))
    assert (end["epoch"], end["position"], end["more"]) == (1, day.head(), False)
    for event in events:
        written = day.leaf(event["position"])
        assert event["leaf_sha256"] == leaf.leaf_hash(written).hex()
        recorded = leaf.decode(written)
        assert (event["type"], event["id"], tuple(event["tags"])) == (recorded.type, str(recorded.id), recorded.tags)


@pytest.mark.parametrize("limit", [1, 7, 1000])
def test_the_parts_of_an_answer_make_the_whole(day, limit):
    after, seen = "1:0", []
    while True:
        events, end = lines(day, after=after, limit=limit)
        assert len(events) <= limit
        seen += positions(events)
        after = f"{end['epoch']}:{end['position']}"
        if not end["more"]:
            break
    assert seen == list(range(1, day.head() + 1))


def test_an_answer_that_is_cut_anywhere_is_gone_on_with_from_its_last_whole_line(day):
    whole = day.get(path(day, limit=12), "integrator").content
    for cut in range(0, len(whole), 97):
        kept = whole[:cut].rpartition(b"\n")[0].splitlines()
        last = msgspec.json.decode(kept[-1])["position"] if kept else 0
        if last < 12:
            assert positions(lines(day, after=f"1:{last}", limit=12 - last)[0]) == list(range(last + 1, 13))


def test_types_and_tags_choose_and_each_may_be_named_several_times(day):
    games, _ = lines(day, type="games.*")
    assert {event["type"] for event in games} == {"games.field_configured", "games.field_inspected"}
    several, _ = lines(day, type=["games.field_inspected", "duty.*"], tag=["field:birch", "field:alder"])
    assert [(event["type"], event["tags"][0]) for event in several] == [
        ("games.field_inspected", "field:birch"),
        ("games.field_inspected", "field:alder"),
    ]
    both, end = lines(day, tag=["field:birch", "person:p-3"])
    assert len(both) == 3
    assert end["position"] == day.head()


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("what", ["", "/stream"])
def test_only_integrators_auditors_and_managers_read_along(day, role, what):
    if role in READERS and what:
        with Reader(day, role, after="1:0") as reader:
            assert len(reader.events(3)) == 3
        return
    assert day.get(path(day, what), role).status_code == (200 if role in READERS else 403)


@pytest.mark.parametrize(
    ("query", "status", "kind"),
    [
        ({"after": "1:999999"}, 422, "position-ahead"),
        ({"after": "7:1"}, 422, "position-ahead"),
        ({"after": "one"}, 400, "invalid-parameter"),
        ({"after": "1:2 "}, 400, "invalid-parameter"),
        ({"type": "games"}, 400, "invalid-parameter"),
        ({"type": "gmaes.*"}, 400, "invalid-parameter"),
        ({"type": "games.playerout"}, 400, "invalid-parameter"),
        ({"tag": "birch"}, 400, "invalid-parameter"),
        ({"tag": "feild:birch"}, 400, "invalid-parameter"),
        ({"tag": "field"}, 400, "invalid-parameter"),
        ({"tag": "field:a b"}, 400, "invalid-parameter"),
        ({"limit": "0"}, 400, "invalid-parameter"),
        ({"limit": "10001"}, 400, "invalid-parameter"),
        ({"limit": "٣"}, 400, "invalid-parameter"),
    ],
)
def test_what_cannot_be_is_refused_with_what_where_and_what_to_do(day, query, status, kind):
    answer = day.get(path(day, **query), "integrator")
    assert (answer.status_code, answer.json()["type"]) == (status, f"/problems/{kind}")
    assert answer.json()["where"] in query
    if "limit" not in query:
        assert day.get(path(day, "/stream", **query), "integrator").status_code == status


def test_who_mistypes_is_told_what_he_may_have_meant(day):
    def told(**query):
        return day.get(path(day, **query), "integrator").json()["detail"]

    assert "near it: games.*" in told(type="gmaes.*")
    assert "games.player_out" in told(type="games.playerout")
    assert "field:" in told(tag="feild:birch")
    assert told(after="4711") == "after does not fit: Expected something of the form of 1:4711."
    assert "games.game_ended or games.*" in told(type="games")


def test_a_field_or_list_that_has_no_event_yet_can_be_followed(day):
    for tag in ("field:not-yet", "incidents", "webhook:office", "park"):
        assert day.get(path(day, tag=tag, limit=1), "integrator").status_code == 200


def test_a_stream_begins_with_what_comes_next_and_resumes_at_any_event(day):
    head = day.head()
    with Reader(day) as reader:
        day.post("registration/register-person", {"person": "late-1", "age_band": 18})
        day.post("registration/register-person", {"person": "late-2", "age_band": 18})
        assert positions(reader.events(2)) == [head + 1, head + 2]
    for cut in (0, 5, head, head + 1):
        with Reader(day, last=f"1:{cut}", after="1:3") as reader:
            count = head + 2 - cut
            assert positions(reader.events(count)) == list(range(cut + 1, head + 3))


def test_a_stream_tells_what_is_wanted_and_its_beat_says_how_far_the_rest_was_read(day):
    with Reader(day, after="1:0", type="games.field_inspected") as reader:
        frames = list(islice(iter(reader), 3))
    assert [frame.get("event") for frame in frames] == [None, None, "beat"]
    assert frames[2]["id"] == f"1:{day.head()}"
    assert msgspec.json.decode(frames[2]["data"]) == {"epoch": 1, "position": day.head()}


def test_a_reader_that_takes_gzip_reads_the_same(day):
    for encoding in ("gzip", "identity"):
        headers = {"Authorization": f"Bearer {day.keys['integrator']}", "Accept-Encoding": encoding}
        with day.http.stream("GET", path(day, "/stream", after="1:0"), headers=headers) as answer:
            assert answer.headers.get("content-encoding", "identity") == encoding
            data = (line for line in answer.iter_lines() if line.startswith("data: "))
            told = [msgspec.json.decode(line[6:]) for line in islice(data, day.head())]
        assert positions(told) == list(range(1, day.head() + 1))


def test_a_stream_ends_within_a_second_or_so_of_its_keys_revocation(day):
    key = day.enrol("going-1", "integrator")
    with Reader(day, key=key) as reader:
        day.post("registration/register-person", {"person": "seen-1", "age_band": 18})
        assert len(reader.events(1)) == 1
        day.portal.call(day.running.devices.revoke, day.park, "going-1")
        begun = time.monotonic()
        assert not [frame for frame in reader if "event" not in frame]
        assert time.monotonic() - begun < 3


def test_a_stalled_reader_under_a_devices_old_key_ends_no_stream_under_its_new_one(day):
    tail = day.running.app.state.tails[day.park]
    stalled = tail.following("anew-1", hash_of(f"Bearer {day.enrol('anew-1', 'integrator')}"))
    old = day.portal.call(stalled.__enter__)
    try:
        day.portal.call(tail._look_at_keys)
        with Reader(day, key=day.enrol("anew-1", "integrator")) as reader:
            for _ in range(3):
                day.post("registration/register-person", {"person": f"anew-{time.monotonic_ns()}", "age_band": 18})
                assert len(reader.events(1)) == 1
                time.sleep(0.5)
        assert old.gone
    finally:
        day.portal.call(stalled.__exit__, None, None, None)


def test_a_stream_that_was_opened_by_a_key_as_it_was_replaced_elsewhere_ends(day):
    """Another process enrols the device anew while this one still knows the old key for half a second."""
    old, name = day.enrol("replaced-1", "integrator"), "replaced-1"
    other = Devices(day.running.app.state.pool, SystemClock())
    with Reader(day, key=old) as before:
        day.post("registration/register-person", {"person": "replaced-seen", "age_band": 18})
        assert len(before.events(1)) == 1
        day.portal.call(other.enrol, day.park, name, frozenset({"integrator"}), None)
        with Reader(day, key=old) as reader:
            begun = time.monotonic()
            assert not [frame for frame in islice(reader, 3) if "event" not in frame]
            assert time.monotonic() - begun < 3


def test_readers_that_never_read_or_hang_up_hold_no_connection_of_the_database(day):
    """Many more than the pool has connections: were one held by each, nothing would be answered any more."""
    where = urlsplit(day.url)
    request = f"GET {path(day, '/stream', after='1:0')} HTTP/1.1\r\nHost: park\r\nAuthorization: Bearer {day.keys['integrator']}\r\n\r\n"
    stuck = []
    for _ in range(60):
        made = socket.create_connection((where.hostname, where.port))
        made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        made.sendall(request.encode())
        stuck.append(made)
    for made in stuck[:20]:
        made.close()
    for number in range(20):
        assert (
            day.post("registration/register-person", {"person": f"beside-{number}", "age_band": 18}).status_code == 201
        )
    assert lines(day)[1]["position"] == day.head()
    tail = day.running.app.state.tails[day.park]
    assert len(tail._readers) >= 40
    for made in stuck:
        made.close()
    deadline = time.monotonic() + 10
    while tail._readers and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not tail._readers


def test_an_answer_of_lines_is_not_held_up_by_a_client_that_is_slow(day):
    with (
        httpx.Client(base_url=day.url, headers={"Authorization": f"Bearer {day.keys['auditor']}"}) as slow,
        slow.stream("GET", path(day)) as answer,
    ):
        assert answer.status_code == 200
        assert lines(day)[1]["position"] == day.head()
