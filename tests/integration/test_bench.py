"""The chronograph's bench over HTTP, on a real log and bus: what it shows, what instruments send, and races between them."""

import asyncio
import subprocess
import sys
import threading
import time
from contextlib import AsyncExitStack, contextmanager, suppress
from uuid import uuid4

import pytest

from contracts.equipment import RegisterMarker
from contracts.leaf import decode
from contracts.problems import Contended, NotInThatState
from contracts.velocity import CHRONO as AT_THE_BENCH
from contracts.velocity import (
    MarkerTested,
    OpenString,
    ReadingTaken,
    RegisterChrono,
    TakeReading,
)
from deploy.services import SERVICES
from services.core import following
from services.core.clock import SystemClock
from services.core.park import Asked, Caller, Park, digest_of
from services.core.times import Contact
from services.velocity.shooting import SHOOTING
from tests.browser.server import Server
from tests.integration.board_day import BoardDay
from tests.integration.log_park import opened

pytestmark = pytest.mark.timeout(180)
HANDLERS = {handler.command: handler for service in SERVICES for handler in service.handlers}


@pytest.fixture(scope="module")
def day(live):
    day = BoardDay(live)
    day.open("birch")
    day.send("games/configure-field", {"field": "fern", "title": "Fern", "limit_fps": 230, "stop_limit_fps": 250})
    return day


class Bench:
    """One chronograph of the day, with its own checks."""

    def __init__(self, day):
        self.day, self.live = day, day.live
        self.chrono = day.name("chrono")
        day.send("velocity/register-chrono", {"chrono": self.chrono})
        pairs = [280.0, 281.0, 282.0]
        check = {"chrono": self.chrono, "readings_fps": pairs, "reference_fps": pairs}
        day.send("velocity/check-chrono", check)

    def marker(self):
        marker = self.day.name("marker")
        self.day.send("equipment/register-marker", {"marker": marker, "model": "Heron"})
        return marker

    def open(self, marker, **more):
        test = self.day.name("test")
        self.day.send("velocity/open-string", {"test": test, "marker": marker, "chrono": self.chrono} | more)
        return test

    def read(self, *speeds):
        for speed in speeds:
            self.day.send("velocity/take-reading", {"chrono": self.chrono, "speed_fps": speed})

    def text(self, text, *, expect=200, **more):
        headers = self.live.headers(**({"content_type": "text/plain"} | more))
        content = text if isinstance(text, bytes) else text.encode()
        answer = self.live.http.post(
            f"/parks/{self.live.park}/velocity/lines/{self.chrono}", content=content, headers=headers
        )
        assert answer.status_code == expect, answer.text
        return answer.json()["lines"] if expect == 200 else answer.json()

    def view(self, *, expect=200, **asked):
        path = f"/parks/{self.live.park}/velocity/bench/{self.chrono}"
        headers = {"Authorization": f"Bearer {self.live.keys['everything']}"}
        answer = self.live.http.get(path, params=asked, headers=headers)
        assert answer.status_code == expect, answer.text
        return answer.json()

    def at(self, view):
        return f"{view['epoch']}:{view['position']}"


@pytest.fixture
def bench(day):
    return Bench(day)


def test_a_string_is_followed_from_the_scan_to_the_verdict(bench):
    marker = bench.marker()
    bench.open(marker)
    bench.read(240, 241)
    string = bench.view()["string"]
    assert (string["marker"], string["to_come"]) == (marker, 1)
    bench.read(242)
    view = bench.view(field="birch")
    assert "string" not in view
    assert (view["last"]["marker"], view["last"]["verdict"]) == (marker, "pass")
    assert [one["line"] for one in bench.view()["last"]["fields"]] == [
        "Birch 285 ft/s: pass",
        "Fern 230 ft/s: turn down 17 ft/s",
    ]


def test_what_is_asked_wrongly_is_refused_with_a_sentence(bench):
    assert "spelling" in bench.live.get(f"/parks/{bench.live.park}/velocity/bench/bench-9", "chrono").json()["detail"]
    assert "field" in bench.view(expect=404, field="nowhere")["detail"]
    assert "after" in bench.view(expect=400, after="soon")["detail"]
    assert "stands at" in bench.view(expect=422, after="1:999999999")["detail"]
    assert bench.live.get(f"/parks/{bench.live.park}/velocity/bench/{bench.chrono}", "referee").status_code == 403


@contextmanager
def after(seconds, what):
    timer = threading.Timer(seconds, what)
    timer.start()
    yield
    timer.join()


@pytest.mark.parametrize("what", ["reading", "change", "rules"])
def test_who_waits_is_answered_as_soon_as_something_concerns_his_bench(bench, what):
    marker = bench.marker()
    bench.open(marker)
    view = bench.view()
    sent = {
        "reading": lambda: bench.read(240),
        "change": lambda: bench.day.send("velocity/change-set-up", {"marker": marker, "change": "adjuster"}),
        "rules": lambda: bench.day.send("park/adopt-rules", {"rules": {"version": bench.day.name("v")}}),
    }[what]
    begun = time.monotonic()
    with after(0.5, sent):
        newer = bench.view(after=bench.at(view))
    waited = time.monotonic() - begun
    assert 0.5 <= waited < following.PATIENCE - 2
    assert newer["position"] > view["position"]
    if what == "reading":
        assert newer["string"]["shown"] == [{"speed_fps": 240.0}]
    if what == "change":
        assert newer["string"]["set_up_changed"] is True


def test_who_waits_for_what_came_meanwhile_is_answered_at_once(bench):
    bench.open(bench.marker())
    view = bench.view()
    bench.read(240)
    projector = bench.live.running.projectors[bench.live.park]
    bench.live.portal.call(projector.reached, bench.live.head(), 10)
    begun = time.monotonic()
    assert bench.view(after=bench.at(view))["string"]["shown"] == [{"speed_fps": 240.0}]
    assert time.monotonic() - begun < following.PATIENCE - 2


def test_what_concerns_another_bench_wakes_nobody_and_who_hears_nothing_is_answered_in_the_end(bench, monkeypatch):
    monkeypatch.setattr(following, "PATIENCE", 1.5)
    other = Bench(bench.day)
    view = bench.view()
    begun = time.monotonic()
    with after(0.3, lambda: other.read(240)):
        same = bench.view(after=bench.at(view))
    assert time.monotonic() - begun >= 1.5
    assert same["as_of"] > view["as_of"]
    bells = bench.live.running.app.state.bells[bench.live.park]
    assert bells._waiting == {}


TEXT = """\
# opening string
240.5 fps
-- beam lost

81.5 m/s   # by the second window
swift
301 fps -- double trigger
"""


def test_each_line_is_answered_and_one_that_does_not_fit_harms_no_other(bench):
    marker = bench.marker()
    test = bench.open(marker)
    answers = bench.text(TEXT)
    assert [one["outcome"] for one in answers] == [
        "remark", "recorded", "recorded", "remark", "recorded", "refused", "recorded",
    ]  # fmt: skip
    assert "no reading" in answers[5]["why"]
    assert answers[4]["speed_fps"] == pytest.approx(81.5 / 0.3048)
    assert {one["marker"] for one in answers if one["outcome"] == "recorded"} == {marker}
    (last,) = bench.text("241 fps")
    assert last["test"] == test
    stood = bench.view()["last"]
    assert [one.get("speed_fps") for one in stood["shown"]] == [
        240.5,
        None,
        pytest.approx(267.388, abs=0.001),
        301.0,
        241.0,
    ]
    (beyond,) = bench.text("239 fps")
    assert "marker" not in beyond
    assert bench.view()["strays"] == [{"speed_fps": 239.0}]


def test_a_text_that_is_sent_again_whole_or_in_part_is_recorded_once(bench):
    bench.open(bench.marker())
    key = f'"{uuid4()}"'
    first = bench.text("240 fps\n", idempotency_key=key)
    head = bench.live.head()
    assert bench.text("240 fps\n", idempotency_key=key) == first
    assert bench.live.head() == head
    longer = bench.text("240 fps # the same\n240 fps\n", idempotency_key=key)
    assert longer[0] == first[0]
    assert bench.live.head() == head + 1
    assert bench.text("\n240 fps\n", idempotency_key=key)[1] == longer[1]
    assert bench.live.head() == head + 1
    assert len(bench.view()["string"]["shown"]) == 2


def test_another_line_under_the_same_key_and_number_is_refused_and_not_recorded(bench):
    key = f'"{uuid4()}"'
    bench.text("240 fps", idempotency_key=key)
    head = bench.live.head()
    (other,) = bench.text("250 fps", idempotency_key=key)
    assert (other["outcome"], "already names another" in other["why"]) == ("refused", True)
    assert bench.live.head() == head


@pytest.mark.parametrize(
    ("text", "status", "more"),
    [
        ("240 fps", 415, {"content_type": "application/json"}),
        ("240 fps", 400, {"idempotency_key": "none"}),
        (b"\xff\xfe fps", 400, {}),
        ("1 fps\n" * 201, 413, {}),
        ("x" * 1_000_001, 413, {}),
    ],
    ids=["a wrong media type", "no key", "no UTF-8", "too many lines", "too long"],
)
def test_a_text_that_cannot_be_taken_at_all_is_refused_whole(bench, text, status, more):
    head = bench.live.head()
    assert bench.text(text, expect=status, **more)["detail"]
    assert bench.live.head() == head


def test_a_line_that_was_shot_before_the_string_was_opened_is_of_no_marker(bench):
    stamp = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(time.time() - 2))
    bench.open(bench.marker())
    (late,) = bench.text(f"{stamp} 299 fps")
    assert "marker" not in late
    assert "shown" not in bench.view()["string"] or bench.view()["string"]["shown"] == []


@pytest.mark.anyio
@pytest.mark.parametrize("anyio_backend", ["asyncio"])
async def test_64_tasks_race_on_one_chronograph_and_no_reading_is_lost_or_in_two_strings(database, anyio_backend):  # noqa: ARG001
    """Four processes' worth of parks on one log; 64 tasks read, two open strings meanwhile, each sends again what was contended."""
    async with AsyncExitStack() as stack:
        logs = [await stack.enter_async_context(opened(database.url)) for _ in range(4)]
        parks = [Park(log.park, log, SystemClock()) for log in logs]
        for command in (
            RegisterChrono(chrono="c1"),
            *(RegisterMarker(marker=f"m{n}", model="Heron") for n in range(6)),
        ):
            await _sent(parks[0], command)
        await _sent(parks[0], OpenString(test="t0", marker="m0", chrono="c1"))

        async def read(number):
            return await _sent(parks[number % 4], TakeReading(chrono="c1", speed_fps=200.0 + number))

        async def scan(number):
            await asyncio.sleep(0.02 * number)
            with suppress(NotInThatState):  # another was opened since: it says so
                await _sent(parks[number % 4], OpenString(test=f"t{number}", marker=f"m{number}", chrono="c1"))

        await asyncio.gather(*(read(number) for number in range(64)), *(scan(number) for number in range(1, 6)))
        await _sent(parks[0], TakeReading(chrono="c1", speed_fps=199.0))
        given, _ = await parks[1].load(lambda _: {(SHOOTING, "c1")})
        rows = await logs[0].tail(0, 1000)

    events = [decode(row.leaf).data for row in rows]
    taken = [one for one in events if isinstance(one, ReadingTaken)]
    assert sorted(one.speed_fps for one in taken) == sorted([199.0, *(200.0 + number for number in range(64))])
    tests = {one.test: one for one in events if isinstance(one, MarkerTested)}
    for name, test in tests.items():
        own = tuple(one.speed_fps for one in taken if one.test == name)
        assert test.readings_fps == own, name
        assert len(own) <= 3
    full = [one for one in tests.values() if len(one.readings_fps) == 3]
    assert full, "not a race"
    counted = [speed for test in tests.values() for speed in test.readings_fps]
    assert len(counted) == len(set(counted))
    still = given.of(SHOOTING, "c1")
    assert len([one for one in taken if one.test]) == len(counted) + len(still.readings)


async def _sent(park, command):
    """As a station that sends again, under the same key, what was contended."""
    path, key = type(command).__name__, uuid4()
    caller = Caller(device="d", roles=AT_THE_BENCH)
    while True:
        contact = Contact(received_at=park.clock.now())
        try:
            return await park.execute(
                HANDLERS[type(command)],
                command,
                Asked(id=key, digest=digest_of(path, b""), caller=caller, contact=contact),
            )
        except Contended:
            await asyncio.sleep(0.01)


@pytest.fixture(scope="module")
def station(databases, nats_urls):
    """A park that can be taken down and brought up again."""
    server = Server(databases.create().url, nats_urls, "wirelow")
    yield server
    server.down()


def test_an_instruments_lines_outlast_a_cut_of_the_network_and_are_never_of_a_marker_that_was_scanned_after_them(
    station, tmp_path
):
    live = station.up()
    day = BoardDay(live)
    day.open("birch")
    bench = Bench(day)
    marker = bench.marker()
    test = bench.open(marker)
    key_file = tmp_path / "key"
    key_file.write_text(live.enrol("wire-1", "chrono") + "\n")
    command = [sys.executable, "-m", "deploy.main", "bench", "--chrono", bench.chrono]
    command += ["--url", f"{live.url}/parks/{live.park}", "--key-file", str(key_file)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, bufsize=1
    ) as process:
        said = Said(process.stdout)
        process.stdin.buffer.write(b"270.5 fps\nrubbish\n\xff\xfe\n")
        process.stdin.buffer.flush()
        said.until("270.5 fps  marker")
        said.until("NOT RECORDED", times=2)
        station.down()
        process.stdin.write("271.5 fps\n272.5 fps\n")
        said.until("Waiting")
        bench.live = bench.day.live = station.up()
        said.until("PASS")
        last = bench.view()["last"]
        assert (last["test"], [one["speed_fps"] for one in last["shown"]]) == (test, [270.5, 271.5, 272.5])
        station.down()
        process.stdin.write("299.5 fps\n")
        said.until("Waiting", times=2)
        bench.live = bench.day.live = station.up()
        bench.open(bench.marker())
        said.until("299.5 fps  of NO marker")
        process.stdin.close()
        assert process.wait(20) == 0
    assert bench.view()["string"]["shown"] == []


class Said:
    """What a process tells, line by line."""

    def __init__(self, stream):
        self._stream = stream
        self._lines = []
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        self._lines += iter(self._stream.readline, "")

    def until(self, words, *, times=1, within=30):
        ends = time.monotonic() + within
        while sum(words in line for line in self._lines) < times:
            assert time.monotonic() < ends, self._lines
            time.sleep(0.02)


@pytest.mark.usefixtures("day")
def test_an_instrument_with_a_key_that_opens_nothing_ends_with_a_sentence_and_says_what_was_not_recorded(
    live, tmp_path
):
    key_file = tmp_path / "key"
    key_file.write_text("nobody.nothing")
    command = [sys.executable, "-m", "deploy.main", "bench", "--chrono", "bench-1"]
    command += ["--url", f"{live.url}/parks/{live.park}", "--key-file", str(key_file)]
    done = subprocess.run(command, input="270.5 fps\n", capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 1
    assert "opens nothing here" in done.stderr
    assert "270.5 fps" in done.stderr
