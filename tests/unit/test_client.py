"""The client without a server: what it sends, how it reads answers, what it tries again and what it tells at once."""

import os
import resource
import stat
from datetime import UTC, datetime, timedelta
from uuid import UUID

import anyio
import httpx
import msgspec
import pytest
import stamina

from contracts import problems
from contracts.answers import Problem
from contracts.client import AsyncPark, Park, Unreachable, enrol, reasons
from contracts.client.clock import Offset, uuid7
from contracts.client.keys import Unsafe, read_key
from contracts.games import RecordOut, StartGame

NOW = datetime(2026, 5, 9, 12, tzinfo=UTC)
RECEIPT = {
    "park": "larchmoor",
    "epoch": 1,
    "position": 7,
    "recorded_at": "2026-05-09T12:00:03Z",
    "repeat": False,
    "events": [],
}


class Stopped:
    """A device's clock that a test moves."""

    def __init__(self):
        self.moment = NOW

    def now(self):
        return self.moment


class Network:
    """Answers in turn: a status with its JSON, or what the connection breaks by."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.asked: list[httpx.Request] = []

    def handle(self, request):
        request.read()
        self.asked.append(request)
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        status, body, *headers = answer
        return httpx.Response(status, json=body, headers=dict(*headers))

    def park(self, **settings):
        transport = httpx.MockTransport(self.handle)
        http = httpx.Client(base_url="http://park", transport=transport)
        return Park("http://park", "larchmoor", "gate-1.secret", clock=Stopped(), http=http, **settings)


def problem(kind, status, **more):
    return status, {"type": f"/problems/{kind}", "title": "T", "status": status, "detail": "Told.", **more}


@pytest.fixture
def quick():
    """Tries without pauses, three at most."""
    with stamina.set_testing(True, attempts=3):
        yield


def test_a_command_bears_the_headers_of_a_write():
    network = Network((201, RECEIPT))
    receipt = network.park(version="2026.5").do(StartGame(game="birch-1"), actor="staff-wren")
    (sent,) = network.asked
    assert (sent.method, sent.url.path) == ("POST", "/parks/larchmoor/games/start-game")
    assert msgspec.json.decode(sent.content, type=StartGame) == StartGame(game="birch-1")
    assert sent.headers["authorization"] == "Bearer gate-1.secret"
    assert sent.headers["device-time"] == NOW.isoformat()
    assert sent.headers["device-version"] == "2026.5"
    assert sent.headers["actor"] == "staff-wren"
    assert UUID(sent.headers["idempotency-key"].strip('"')).version == 7
    assert (receipt.epoch, receipt.position) == (1, 7)


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize(
    "first",
    [
        httpx.ConnectError("down"),
        httpx.ReadTimeout("late"),
        problem("unavailable", 503),
        problem("broken", 500),
        problem("contended", 409),
        problem("in-flight", 409),
        problem("line-cut", 400),
        problem("too-many-tries", 429),
        (502, "a gateway's own words"),
    ],
    ids=str,
)
def test_what_passes_is_sent_again_the_very_same_under_the_same_key(first):
    network = Network(first, (201, RECEIPT))
    network.park().do(StartGame(game="birch-1"))
    before, after = network.asked
    assert before.headers["idempotency-key"] == after.headers["idempotency-key"]
    assert before.content == after.content


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize(
    ("kind", "status"),
    [("not-in-that-state", 409), ("invalid-body", 422), ("not-allowed", 403), ("idempotency-key-reused", 422)],
)
def test_any_other_refusal_is_raised_at_once_as_its_own_class(kind, status):
    network = Network(problem(kind, status, where="$.game"))
    expected = next(one for one in problems.every() if one.type_uri() == f"/problems/{kind}")
    with pytest.raises(expected, match=r"Told\.") as raised:
        network.park().do(StartGame(game="birch-1"))
    assert len(network.asked) == 1
    assert raised.value.extensions["where"] == "$.game"
    assert raised.value.status == status


@pytest.mark.usefixtures("quick")
def test_every_problem_of_the_park_comes_back_as_the_class_that_it_was():
    for kind in problems.every():
        network = Network(
            *[(kind.status, {"type": kind.type_uri(), "title": kind.title, "status": kind.status, "detail": "d"})] * 3
        )
        with pytest.raises(kind):
            network.park().get("anything")


def test_a_problem_that_only_a_newer_park_knows_is_still_a_refusal():
    with pytest.raises(problems.Refused, match=r"Told\.") as raised:
        Network(problem("of-tomorrow", 418)).park().get("anything")
    assert raised.value.status == 418
    assert raised.value.extensions["problem"].type == "/problems/of-tomorrow"


@pytest.mark.usefixtures("quick")
def test_without_any_answer_it_says_that_the_outcome_is_not_known_and_under_which_key_to_ask_again():
    network = Network(*[httpx.ReadError("cut")] * 3, (201, RECEIPT))
    park = network.park()
    with pytest.raises(Unreachable) as raised:
        park.do(StartGame(game="birch-1"))
    park.do(StartGame(game="birch-1"), key=raised.value.key)
    assert len({request.headers["idempotency-key"] for request in network.asked}) == 1


def test_a_park_that_asks_for_patience_is_given_it():
    waits = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("time.sleep", waits.append)
        Network((*problem("unavailable", 503), {"Retry-After": "2"}), (200, {})).park().get("anything")
    assert waits == [2.0]


def test_patience_ends():
    network = Network(*[httpx.ConnectError("down")] * 100)
    with pytest.raises(Unreachable):
        network.park(patience=0.3).get("anything")
    assert 1 < len(network.asked) < 20


def test_a_refusal_on_record_tells_every_reason_of_every_player():
    def reason(code):
        return {"code": code, "sentence": "S.", "where": "desk"}

    refusal = {"reasons": [reason("field_held")], "offenders": [{"player": "p1", "reasons": [reason("entry_unpaid")]}]}
    with pytest.raises(problems.NotCleared) as raised:
        Network(problem("not-cleared", 409, refusal=refusal)).park().do(StartGame(game="birch-1"))
    assert [one.code for one in reasons(raised.value)] == ["field_held", "entry_unpaid"]


def test_reads_are_typed_and_name_what_they_ask():
    basis = {"now": "2026-05-09T12:00:00Z", "rules": "r1", "position": 7}
    network = Network((200, {"player": "p 1", "field": "birch", "cleared": False, "reasons": [], "basis": basis}))
    clearance = network.park().clearance("p 1", "birch")
    assert clearance.cleared is False
    assert network.asked[0].url.raw_path == b"/parks/larchmoor/clearance/players/p%201?field=birch"


def test_asyncio_is_the_same():
    async def asked():
        transport = httpx.MockTransport(network.handle)
        http = httpx.AsyncClient(base_url="http://park", transport=transport)
        async with AsyncPark("http://park", "larchmoor", "gate-1.secret", http=http) as park:
            return await park.do(RecordOut(player="p1", field="birch", cause="eliminated"))

    network = Network(httpx.ReadError("cut"), (201, RECEIPT))
    with stamina.set_testing(True, attempts=2):
        assert anyio.run(asked).position == 7
    assert len(network.asked) == 2


def test_both_parks_offer_the_same():
    def offered(kind):
        return {name for name in vars(kind) if not name.startswith("_")}

    assert offered(Park) == offered(AsyncPark)


def test_the_parks_clock_is_known_from_the_receipt_that_was_under_way_for_the_shortest_time():
    offset = Offset()
    offset.heard(NOW, NOW + timedelta(seconds=4), NOW + timedelta(seconds=7))
    assert (offset.ahead, offset.within) == (timedelta(seconds=5), timedelta(seconds=2))
    offset.heard(NOW, NOW + timedelta(seconds=6), NOW + timedelta(seconds=60))
    assert offset.ahead == timedelta(seconds=5), "a worse answer says less"
    offset.heard(NOW, NOW + timedelta(seconds=2), NOW + timedelta(seconds=7))
    assert (offset.ahead, offset.within) == (timedelta(seconds=6), timedelta(seconds=1))
    late = NOW + timedelta(minutes=1)
    offset.heard(late, late + timedelta(seconds=6), late + timedelta(seconds=9))
    assert offset.ahead == timedelta(seconds=6), "an old answer says nothing of a clock that drifts"
    assert offset.within == timedelta(seconds=3)


def test_a_repeat_says_nothing_of_the_clock():
    park = Network((201, RECEIPT | {"repeat": True}), (201, RECEIPT)).park()
    park.do(StartGame(game="birch-1"))
    assert park.wire.offset.within is None
    park.do(StartGame(game="birch-1"))
    assert park.wire.now() == NOW + timedelta(seconds=3)


def test_the_key_of_a_write_is_the_published_example_of_its_form():
    """RFC 9562, appendix A.6: 2022-02-22 19:22:22.000 UTC, rand_a CC3, rand_b 18C4DC0C0C07398F."""

    class Bits:
        def getrandbits(self, k):
            assert k == 74
            return 0xCC3 << 62 | 0x18C4DC0C0C07398F

    clock = Stopped()
    clock.moment = datetime(2022, 2, 22, 19, 22, 22, tzinfo=UTC)
    assert uuid7(clock, Bits()) == UUID("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
    clock.moment = datetime(1969, 12, 31, tzinfo=UTC)  # a clock whose battery is dead
    assert uuid7(clock, Bits()) == UUID("00000000-0000-7CC3-98C4-DC0C0C07398F")


ENROLMENT = {
    "park": "larchmoor",
    "device": "gate-1",
    "key": "gate-1.s3cret",
    "roles": ["staging"],
    "station": None,
    "epoch": 1,
    "position": 9,
}


def enrolling(tmp_path, *answers):
    network = Network(*answers)
    http = httpx.Client(base_url="http://park", transport=httpx.MockTransport(network.handle))
    return network, lambda: enrol("http://park", "larchmoor", " K7QF3-M2W9T ", tmp_path / "gate.key", http=http)


def test_a_code_becomes_a_key_in_a_file_that_only_its_own_account_can_read(tmp_path):
    network, spend = enrolling(tmp_path, (201, ENROLMENT))
    spend()
    (sent,) = network.asked
    assert sent.url.path == "/parks/larchmoor/devices/enrol"
    assert msgspec.json.decode(sent.content) == {"code": "K7QF3-M2W9T", "version": None}
    assert "authorization" not in sent.headers
    path = tmp_path / "gate.key"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert Park.open(path).wire.device == "gate-1"
    assert list(tmp_path.iterdir()) == [path]


def test_a_key_that_others_can_read_is_not_used(tmp_path):
    enrolling(tmp_path, (201, ENROLMENT))[1]()
    (tmp_path / "gate.key").chmod(0o640)
    with pytest.raises(Unsafe, match="can be read by others"):
        read_key(tmp_path / "gate.key")


def test_no_code_is_spent_where_the_key_could_not_be_kept(tmp_path):
    network, spend = enrolling(tmp_path / "no-such-folder")
    with pytest.raises(FileNotFoundError):
        spend()
    (tmp_path / "gate.key").touch()
    network, spend = enrolling(tmp_path)
    with pytest.raises(FileExistsError, match="holds a key already"):
        spend()
    assert network.asked == []


def test_a_code_that_is_refused_leaves_nothing_behind(tmp_path):
    _, spend = enrolling(tmp_path, problem("not-found", 404))
    with pytest.raises(problems.NotFound):
        spend()
    assert list(tmp_path.iterdir()) == []


def test_a_problem_keeps_everything_that_it_said():
    told = Problem(type="/problems/position-lost", title="T", status=410, detail="D", resume="1:4600")
    with pytest.raises(problems.PositionLost) as raised:
        Network((410, msgspec.to_builtins(told))).park().get("events")
    assert raised.value.extensions["problem"] == told


BETWEEN = [
    httpx.Response(200, html="<h1>Sign in to this network</h1>"),
    httpx.Response(200, json={"ok": True}),
    httpx.Response(200, content=b"\xff\xfe"),
    httpx.Response(200, content=b'{"x":' + b"[" * 100_000),
    httpx.Response(403, content=b'{"x":' + b"[" * 100_000),
    httpx.Response(302, headers={"Location": "http://login/"}),
    httpx.Response(401, html="<h1>Who are you?</h1>"),
    httpx.Response(404, json={"message": "no such host"}),
    httpx.Response(404, json={"type": "about:blank", "title": "T", "status": 404, "detail": "D"}),
]


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("between", BETWEEN, ids=lambda one: f"{one.status_code} {one.content[:20]!r}")
def test_what_something_between_answers_in_the_parks_place_is_no_answer(between, tmp_path):
    answers = [between, httpx.Response(201, json=RECEIPT), *[between] * 7]
    asked = []

    def handle(request):
        asked.append(request)
        return answers.pop(0)

    http = httpx.Client(base_url="http://park", transport=httpx.MockTransport(handle))
    park = Park("http://park", "larchmoor", "gate-1.secret", http=http)
    assert park.do(StartGame(game="birch-1")).position == 7
    with pytest.raises(Unreachable) as raised:
        park.do(StartGame(game="birch-1"))
    assert len({request.headers["idempotency-key"] for request in asked}) == 2
    assert str(raised.value.key) in asked[-1].headers["idempotency-key"]
    with pytest.raises(Unreachable):
        park.clearance("p1", "birch")
    with pytest.raises(Unreachable):
        enrol("http://park", "larchmoor", "K7QF3M2W9T", tmp_path / "gate.key", http=http)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("quick")
def test_an_answer_that_does_not_unpack_is_no_answer():
    def handle(_request):
        return httpx.Response(200, headers={"Content-Encoding": "gzip"}, stream=httpx.ByteStream(b"not gzip"))

    http = httpx.Client(base_url="http://park", transport=httpx.MockTransport(handle))
    with pytest.raises(Unreachable):
        Park("http://park", "larchmoor", "gate-1.secret", http=http).clearance("p1", "birch")


def test_no_code_is_spent_on_a_full_disk(tmp_path):
    network, spend = enrolling(tmp_path, (201, ENROLMENT))
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20, before[1]))
    try:
        with pytest.raises(OSError, match="File too large"):
            spend()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert network.asked == []
    assert list(tmp_path.iterdir()) == []


def test_what_a_power_cut_left_of_an_enrolment_is_in_nobodys_way(tmp_path):
    (tmp_path / f"gate.key.{os.getpid()}").write_text("half a k")
    enrolling(tmp_path, (201, ENROLMENT))[1]()
    assert Park.open(tmp_path / "gate.key").wire.device == "gate-1"
    assert [one.name for one in tmp_path.iterdir()] == ["gate.key"]


def test_a_device_whose_name_has_a_dot_is_known_by_the_whole_of_it():
    parks = [Park("http://park", "larchmoor", f"gate.{number}.secret") for number in (1, 2)]
    assert [park.wire.device for park in parks] == ["gate.1", "gate.2"]
