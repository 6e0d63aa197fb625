"""A device is killed and cut off two hundred times while it sends a day's backlog: every fact is there, once, in its order, under its number."""

import asyncio
import os
import signal
import sys
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import httpx
import msgspec
import pytest

from contracts.client import Park, Queue
from contracts.client.keys import DeviceKey, Place, read_key
from contracts.envelope import Event
from contracts.games import ConfigureField, RecordOut
from contracts.registration import RegisterPerson, RegisterPlayer
from contracts.words import Role
from deploy.embedded import nats, postgres
from deploy.migrate import migrate
from services.core.auth import Devices
from services.core.clock import SystemClock
from services.core.pool import Pool
from tests.faults.stand import ROOT, Stand
from tests.faults.torn_network import TornNetwork
from tests.integration.log_park import opened
from tests.servers import temporary_state

pytestmark = pytest.mark.timeout(300)

PARK, DEVICE = "larchmoor", "birch-handheld"
FACTS = 5000
PLAYERS = 40
TIMES = 200
SERVICE_ENDS = (40, 90, 140)
"""After so many failures of the device's the service is killed too."""
FURTHEST = 25_000
"""Bytes, both ways together, after which a connection fails at the latest: somewhat more than a batch of 25 lines with its answer."""
SEED = 20_261_130


@pytest.fixture
def stand():
    with temporary_state() as state, postgres(state) as database, nats(state) as bus:
        stand = Stand(state, migrate(database, "tests-only"), bus, PARK)
        try:
            yield stand
        finally:
            stand.end_service()


def test_a_device_killed_and_cut_off_200_times_loses_nothing_doubles_nothing_and_keeps_its_order(stand, tmp_path):
    keys = a_day_of_facts(tmp_path / "facts")
    failures = asyncio.run(sent_through(stand, tmp_path))
    assert (failures.kills + failures.cuts, min(failures.kills, failures.cuts) > TIMES // 3) == (TIMES, True)
    assert failures.answered_before_the_last > 0
    assert failures.waiting_at_the_last > 0, "it was done before it was disturbed so often"
    asyncio.run(everything_is_there_once_and_in_its_order(stand, keys))
    the_device_forgets_only_what_is_signed(stand, tmp_path)


def a_day_of_facts(path: Path) -> list[str]:
    """Written while the device was out of reach, all day long: their keys in order."""
    queue = Queue(path)
    begins = datetime.now(UTC) - timedelta(hours=9)
    facts = [
        RecordOut(
            player=f"p{number % PLAYERS}",
            field="birch",
            cause="eliminated",
            occurred_at=begins + timedelta(seconds=6 * number),
        )
        for number in range(FACTS)
    ]
    keys = [str(key) for key in queue.put_all(facts)]
    queue.close()
    return keys


class Failures:
    """What fails, drawn from a seed: where in the bytes, and whether it is the connection or the device."""

    def __init__(self, stand: Stand, facts: Path) -> None:
        self._stand, self._facts = stand, facts
        self._chance = Random(SEED)  # noqa: S311 - it guards nothing
        self.kills = self.cuts = 0
        self.life: int | None = None
        self.answered_before_the_last = self.waiting_at_the_last = 0

    @property
    def done(self) -> int:
        return self.kills + self.cuts

    def allowance(self) -> int | None:
        return self._chance.randrange(1, FURTHEST) if self.done < TIMES else None

    def fails(self) -> bool:
        if self.done >= TIMES:
            return False
        if self.life is not None and self._chance.random() < 0.5:
            self.kills += 1
            with suppress(ProcessLookupError):
                os.kill(self.life, signal.SIGKILL)
            self.life = None
        else:
            self.cuts += 1
        if self.done in SERVICE_ENDS:
            self._stand.kill_service()
        if self.done == TIMES:
            queue = Queue(self._facts)
            self.waiting_at_the_last = queue.waiting
            self.answered_before_the_last = FACTS - queue.waiting
            queue.close()
        return True


async def sent_through(stand: Stand, folder: Path) -> Failures:
    failures = Failures(stand, folder / "facts")
    async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{stand.port}") as http:
        await stand.until_ready(http)
    pool = Pool(stand.database_url)
    office = await Devices(pool, SystemClock()).enrol(PARK, "office", frozenset[Role]({"desk", "manager"}), "office")
    await asyncio.to_thread(registered, f"http://127.0.0.1:{stand.port}", office)
    key = await Devices(pool, SystemClock()).enrol(PARK, DEVICE, frozenset[Role]({"referee"}), "birch")
    await pool.close()
    async with TornNetwork(stand.port, failures.allowance, failures.fails) as network:
        place = Place(folder / "key")
        place.keep(DeviceKey(url=f"http://127.0.0.1:{network.port}", park=PARK, device=DEVICE, key=key))
        place.close()
        await lived_to_the_end(failures, folder)
    return failures


def registered(url: str, office: str) -> None:
    """A field, and who plays on it."""
    with Park(url, PARK, office) as park:
        park.do(ConfigureField(field="birch", title="Birch"))
        for number in range(PLAYERS):
            player, person = f"p{number}", f"person-{number}"
            park.do(RegisterPerson(person=person, age_band=18))
            park.do(RegisterPlayer(player=player, person=person, day_pass=f"pass-{number}", armband=number + 1))


async def lived_to_the_end(failures: Failures, folder: Path) -> None:
    """The device is started anew whenever it was killed, until it says that it has sent everything."""
    pipe = asyncio.subprocess.PIPE
    command = [sys.executable, "-m", "tests.faults.backlog_device", str(folder / "key"), str(folder / "facts")]
    device = await asyncio.create_subprocess_exec(*command, cwd=ROOT, stdin=pipe, stdout=pipe)
    try:
        ended = -signal.SIGKILL
        while ended == -signal.SIGKILL:
            device.stdin.write(b"\n")
            failures.life = int(await device.stdout.readline())
            ended = int(await device.stdout.readline())
        assert ended == 0, "the device gave up"
    finally:
        device.stdin.close()
        device.kill()
        await device.wait()


async def everything_is_there_once_and_in_its_order(stand: Stand, keys: list[str]) -> None:
    """By the log's own bytes, read without the services' code."""
    async with opened(stand.database_url, PARK) as log:
        rows = await log.tail(0, 1_000_000)
    events = [msgspec.json.decode(row.leaf.split(b"\n", 5)[5], type=Event) for row in rows]
    mine = [event for event in events if event.device == DEVICE and event.type == "games.player_out"]
    assert [str(event.id) for event in mine] == keys
    assert [event.device_seq for event in mine] == list(range(1, FACTS + 1))
    assert [event.occurred_at for event in mine] == sorted(event.occurred_at for event in mine)


def the_device_forgets_only_what_is_signed(stand: Stand, folder: Path) -> None:
    with Park(f"http://127.0.0.1:{stand.port}", PARK, read_key(folder / "key").key) as park:
        told = park.get(f"devices/{DEVICE}/sequence")
        assert (told["held"], told["holes"], told["set_aside"]) == ([[1, FACTS]], [], 0)
        queue = Queue(folder / "facts")
        assert (queue.waiting, queue.refused()) == (0, ())
        assert queue.kept >= min(FACTS, told["position"] - told["signed"])
        park.send(queue)
        assert queue.kept <= told["position"] - told["signed"]
        queue.close()
