"""kill -9 of the service, of NATS and of PostgreSQL in the middle of a load: every acknowledged event is there, once, in order."""

import asyncio
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from uuid import uuid4

import asyncpg
import httpx
import pytest

from contracts import leaf
from contracts.words import Role
from deploy.app import plain
from deploy.embedded import BusUrls, nats, postgres
from deploy.migrate import migrate
from deploy.services import PROJECTIONS
from services.core.auth import Devices
from services.core.bus import Bus
from services.core.clock import SystemClock
from services.core.log import Log
from services.core.pool import Pool
from services.core.rebuild import check
from services.core.relay import Relay
from services.core.stream import Stream
from tests.servers import temporary_state

pytestmark = pytest.mark.timeout(300)
PARK = "larchmoor"
DEVICES = 6
ROUNDS = 4
ROLES = frozenset[Role]({"desk", "chrono", "gear", "manager"})
ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Device:
    """A station that numbers what it records, and sends each request again, under the same key, until it is acknowledged."""

    name: str
    key: str
    url: str
    acknowledged: list[tuple[str, str, int]] = field(default_factory=list)
    """(name of the record, event id, position)"""
    again: int = 0
    repeats: int = 0
    refusals: list[str] = field(default_factory=list)

    def run(self, stop: threading.Event) -> None:
        number = 0
        with httpx.Client(base_url=self.url, timeout=5) as http:
            while not stop.is_set():
                number += 1
                record = f"{self.name}-{number:05}"
                if number % 3:
                    body = {"test": record, "marker": self.name, "chrono": "c1", "readings_fps": [280, 281, 282]}
                    self._send(http, "velocity/test-marker", body, record)
                else:
                    self._send(http, "registration/register-person", {"person": record, "age_band": 18}, record)

    def _send(self, http: httpx.Client, command: str, body: dict, record: str) -> None:
        headers = {"Authorization": f"Bearer {self.key}", "Idempotency-Key": f'"{uuid4()}"'}
        while True:
            try:
                answer = http.post(f"/parks/{PARK}/{command}", json=body, headers=headers)
            except httpx.TransportError:
                self.again += 1
                time.sleep(0.05)
                continue
            if answer.status_code == 201:
                receipt = answer.json()
                self.repeats += receipt["repeat"]
                self.acknowledged.append((record, receipt["events"][0]["id"], receipt["position"]))
                return
            if answer.status_code < 500:
                self.refusals.append(answer.text)
                return
            self.again += 1
            time.sleep(0.05)


class Service:
    """The service's process; `kill` is -9, and a new one takes its place."""

    def __init__(self, *arguments: str) -> None:
        self._command = [sys.executable, "-m", "tests.faults.child", *arguments]
        self.start()

    def start(self) -> None:
        self._process = subprocess.Popen(
            self._command,
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )

    def kill(self) -> None:
        self._process.kill()
        self._process.wait()

    def renew(self) -> None:
        """Kill it; also where it ended by itself, one is there again."""
        self.kill()
        self.start()

    @property
    def alive(self) -> bool:
        return self._process.poll() is None


@contextmanager
def loaded(devices: list[Device]) -> Iterator[None]:
    stop = threading.Event()
    threads = [threading.Thread(target=device.run, args=(stop,)) for device in devices]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        stop.set()
        for thread in threads:
            thread.join(60)


def nats_process(state: Path) -> int:
    """The process that runs on this state's configuration file, and is a child of ours."""
    wanted = str(state / "nats.conf").encode()
    found = [
        int(process.name)
        for process in Path("/proc").iterdir()
        if process.name.isdigit() and wanted in _read(process / "cmdline")
    ]
    assert len(found) == 1, found
    return found[0]


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError:
        return b""


def postmaster(state: Path) -> int:
    (found,) = state.rglob("postmaster.pid")
    return int(found.read_text().split("\n", 1)[0])


async def prepared(database_url: str) -> dict[str, str]:
    """The park with its devices' keys."""
    pool = Pool(database_url)
    await Log(pool, PARK, SystemClock()).open_park()
    keys = {f"d{number}": await Devices(pool).enrol(PARK, f"d{number}", ROLES, "load") for number in range(DEVICES)}
    await pool.close()
    return keys


def until_up(url: str, seconds: float = 60) -> None:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        try:
            if httpx.get(f"{url}/ready", timeout=2).status_code == 200:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.1)
    raise AssertionError("the service did not come up")


def test_no_acknowledged_event_is_lost_doubled_or_out_of_order_when_anything_is_killed(free_tcp_port):
    with temporary_state() as state, postgres(state) as admin_url, nats(state) as bus:
        database_url = migrate(admin_url, "faults")
        keys = asyncio.run(prepared(database_url))
        url = f"http://127.0.0.1:{free_tcp_port}"
        service = Service(database_url, bus.relay, bus.service, PARK, str(free_tcp_port))
        try:
            until_up(url)
            devices = [Device(name, key, url) for name, key in keys.items()]
            _enter_gear(url, devices)
            with loaded(devices):
                for _ in range(ROUNDS):
                    _wreak(state, service)
                until_up(url)
                time.sleep(2)
        finally:
            service.kill()
        assert not [device.refusals for device in devices if device.refusals]
        assert sum(device.again for device in devices) > 0
        asyncio.run(_judge(database_url, bus, devices))


def _enter_gear(url: str, devices: list[Device]) -> None:
    for command, body in (
        ("velocity/register-chrono", {"chrono": "c1"}),
        *(("equipment/register-marker", {"marker": device.name, "model": "Heron"}) for device in devices),
    ):
        headers = {"Authorization": f"Bearer {devices[0].key}", "Idempotency-Key": f'"{uuid4()}"'}
        assert httpx.post(f"{url}/parks/{PARK}/{command}", json=body, headers=headers).status_code == 201


def _wreak(state: Path, service: Service) -> None:
    time.sleep(1.5)
    service.renew()
    time.sleep(2.5)
    os.kill(nats_process(state), signal.SIGKILL)
    time.sleep(2)
    os.kill(postmaster(state), signal.SIGKILL)
    time.sleep(3)
    if not service.alive:
        service.start()


async def _judge(database_url: str, bus: BusUrls, devices: list[Device]) -> None:
    pool = Pool(database_url)
    log = Log(pool, PARK, SystemClock())
    rows = await log.tail(0, 1_000_000)
    events = [leaf.decode(row.leaf) for row in rows]
    assert [event.position for event in events] == list(range(1, len(events) + 1))
    places = {str(event.id): event.position for event in events}
    assert len(places) == len(events)
    acknowledged = 0
    for device in devices:
        assert [places.get(name) for _, name, _ in device.acknowledged] == [at for *_, at in device.acknowledged]
        positions = [at for *_, at in device.acknowledged]
        assert positions == sorted(positions)
        assert [record for record, *_ in device.acknowledged] == sorted(record for record, *_ in device.acknowledged)
        acknowledged += len(positions)
    assert acknowledged > 200
    recorded = [getattr(event.data, "test", None) or getattr(event.data, "person", None) for event in events]
    named = [name for name in recorded if name]
    assert len(named) == len(set(named)), "a record was doubled"
    for projection in PROJECTIONS:
        assert await check(projection, log, pool) is None
    await _same_on_the_bus(database_url, bus, log, [row.leaf for row in rows])
    await pool.close()


async def _same_on_the_bus(database_url: str, bus: BusUrls, log: Log, leaves: list[bytes]) -> None:
    """A relay of the test's own catches up; then the stream holds the log's leaves at their positions."""
    ours = Bus(bus.relay)
    relay = asyncio.ensure_future(Relay(log, ours, lambda: asyncpg.connect(plain(database_url))).run())
    stream = Stream(PARK, 1)
    deadline = time.monotonic() + 60
    end = None
    while time.monotonic() < deadline and (end is None or end.position < len(leaves)):
        await asyncio.sleep(0.2)
        end = await ours.end(stream)
    relay.cancel()
    assert end is not None
    assert (end.position, end.leaf) == (len(leaves), leaves[-1])
    await ours.close()
