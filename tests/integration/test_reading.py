"""Reading along over HTTP: from any position, by type and tag, through a revocation; nobody who is slow costs the park anything."""

import asyncio
import socket
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from itertools import islice
from urllib.parse import urlencode, urlsplit

import httpx
import msgspec
import pytest

from contracts import leaf
from contracts.words import Role
from services.board import gate_routes
from services.board.api import MOST_STREAMS
from services.core import following
from services.core.auth import Devices, hash_of
from services.core.clock import SystemClock
from services.core.settings import STREAMS_PER_KEY
from services.reading.followers import Follower
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


def test_hundreds_of_streams_end_within_a_second_or_so_of_their_keys_revocation(day):
    """The log is looked at every 1.6 seconds for so many: whoever learnt of it there would read on for as long, and this asks right after a look."""
    names = [f"many-{number}" for number in range(7)]
    keys = [day.enrol(name, "integrator") for name in names]
    tail, where = day.running.app.state.tails[day.park], urlsplit(day.url)

    async def reader(key):
        incoming, outgoing = await asyncio.open_connection(where.hostname, where.port)
        asked = f"GET {path(day, '/stream')} HTTP/1.1\r\nHost: park\r\nAuthorization: Bearer {key}\r\nConnection: close\r\n\r\n"
        outgoing.write(asked.encode())
        assert b" 200 " in await incoming.readline()
        await incoming.readuntil(b"retry: 2000\n\n")
        return incoming, outgoing

    async def many():
        readers = await asyncio.gather(*(reader(key) for key in keys for _ in range(50)))
        await asyncio.to_thread(day.portal.call, tail.moved.wait)
        for name in names:
            await asyncio.to_thread(day.portal.call, day.running.devices.revoke, day.park, name)
        begun = time.monotonic()
        await asyncio.wait_for(asyncio.gather(*(incoming.read() for incoming, _ in readers)), 20)
        lasted = time.monotonic() - begun
        for _, outgoing in readers:
            outgoing.close()
        return lasted

    assert asyncio.run(many()) < 1.3


@pytest.mark.parametrize("asked", ["registration/desk-list?", "games/gate?field=birch&"])
def test_whoever_waits_for_something_newer_hears_nothing_once_his_key_is_revoked(day, asked, monkeypatch):
    for module in (following, gate_routes):
        monkeypatch.setattr(module, "PATIENCE", 1.0)
    name = f"waiting-{asked[0]}"
    headers = {"Authorization": f"Bearer {day.enrol(name, 'desk', 'gate')}"}
    place = f"1:{day.head()}"
    with ThreadPoolExecutor(1) as others:
        waiting = others.submit(day.http.get, f"/parks/{day.park}/{asked}after={place}", headers=headers)
        time.sleep(0.3)
        day.portal.call(day.running.devices.revoke, day.park, name)
        answer = waiting.result()
    assert (answer.status_code, answer.json()["type"]) == (401, "/problems/key-revoked")


def test_a_stalled_reader_under_a_devices_old_key_ends_no_stream_under_its_new_one(day):
    tail = day.running.app.state.tails[day.park]
    old = Follower("anew-1", hash_of(f"Bearer {day.enrol('anew-1', 'integrator')}"))
    stalled = tail.following(old)
    day.portal.call(stalled.__enter__)
    try:
        day.portal.call(tail.followers.look)
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
    keys = [day.keys[role] for role in READERS]
    stuck = []
    for number in range(60):
        request = f"GET {path(day, '/stream', after='1:0')} HTTP/1.1\r\nHost: park\r\nAuthorization: Bearer {keys[number % 3]}\r\n\r\n"
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
    assert len(tail.followers._here) >= 40
    for made in stuck:
        made.close()
    deadline = time.monotonic() + 10
    while tail.followers._here and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not tail.followers._here


def open_streams(day, key, count):
    """So many connections that each ask for a stream, and the status of each answer."""
    where = urlsplit(day.url)
    request = f"GET {path(day, '/stream')} HTTP/1.1\r\nHost: park\r\nAuthorization: Bearer {key}\r\n\r\n".encode()
    made = [socket.create_connection((where.hostname, where.port), 10) for _ in range(count)]
    for one in made:
        one.sendall(request)
    return made, [int(one.recv(12).split()[1]) for one in made]


def test_a_key_has_no_more_streams_open_than_it_may_and_one_that_ends_makes_room(day):
    """All at once, so that no two take the same place. Of another key nothing is taken."""
    key, other = day.enrol("crowd-1", "integrator"), day.enrol("crowd-2", "integrator")
    made, statuses = open_streams(day, key, STREAMS_PER_KEY + 6)
    assert Counter(statuses) == {200: STREAMS_PER_KEY, 429: 6}
    with day.http.stream("GET", path(day, "/stream"), headers={"Authorization": f"Bearer {key}"}) as answer:
        assert answer.status_code == 429
        answer.read()
    assert answer.json()["type"] == "/problems/too-many-streams"
    assert answer.headers["retry-after"] == "5"
    assert f"{STREAMS_PER_KEY} streams" in answer.json()["detail"]
    with Reader(day, key=other):
        pass
    assert day.get(path(day), "integrator").status_code == 200
    for one, status in zip(made, statuses, strict=True):
        if status == 200:
            one.close()
            break
    deadline = time.monotonic() + 10
    while (again := open_streams(day, key, 1))[1] != [200] and time.monotonic() < deadline:
        again[0][0].close()
        time.sleep(0.05)
    assert again[1] == [200]
    assert open_streams(day, key, 1)[1] == [429]
    for one in [*made, *again[0]]:
        one.close()


def test_whoever_wants_no_more_than_a_streams_head_or_is_refused_takes_no_room(day):
    key = day.enrol("heads-1", "integrator")
    headers = {"Authorization": f"Bearer {key}"}
    for _ in range(STREAMS_PER_KEY + 6):
        assert day.http.head(path(day, "/stream"), headers=headers).status_code == 200
        assert day.http.get(path(day, "/stream", after="1:999999"), headers=headers).status_code == 422
    made, statuses = open_streams(day, key, STREAMS_PER_KEY)
    assert set(statuses) == {200}
    for one in made:
        one.close()


def test_a_board_has_no_more_streams_open_than_a_process_can_bear(day, monkeypatch):
    board = day.running.app.state.boards[day.park]
    monkeypatch.setattr(board.channel, "readers", MOST_STREAMS)
    with day.http.stream("GET", f"/parks/{day.park}/board/stream") as answer:
        assert (answer.status_code, answer.headers["content-type"]) == (429, "application/problem+json")
    monkeypatch.setattr(board.channel, "readers", MOST_STREAMS - 1)
    with day.http.stream("GET", f"/parks/{day.park}/board/stream") as answer:
        assert answer.status_code == 200


def test_an_answer_of_lines_is_not_held_up_by_a_client_that_is_slow(day):
    with (
        httpx.Client(base_url=day.url, headers={"Authorization": f"Bearer {day.keys['auditor']}"}) as slow,
        slow.stream("GET", path(day)) as answer,
    ):
        assert answer.status_code == 200
        assert lines(day)[1]["position"] == day.head()
