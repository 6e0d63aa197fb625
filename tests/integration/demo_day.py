"""The invented day, played once through the HTTP API against real servers, and kept in memory for every test that asks about it."""

import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import msgspec

from contracts import leaf
from contracts.envelope import Recorded
from deploy.app import listening, listening_socket, running
from deploy.demo.clock import RunningClock
from deploy.demo.invitations import OFFICE
from deploy.demo.play import opening_time, play
from deploy.embedded import BusUrls
from deploy.services import PROJECTIONS, SERVICES
from services.core.log import Row
from tests.databases import Database

ROOT = Path(__file__).resolve().parents[2]
SEED = 7
PARK = "larchmoor"


@dataclass(frozen=True)
class DemoDay:
    """All that the day left behind. Its database stays as it was at closing time: read it, and write to none but a copy of your own."""

    park: str
    rows: Sequence[Row]
    """Each position with the bytes of its leaf."""
    summary: str
    """The line of JSON that `deploy/run --once` prints."""
    database: Database

    @cached_property
    def events(self) -> list[Recorded[Any]]:
        return [leaf.decode(row.leaf) for row in self.rows]


async def played(database: Database, bus: BusUrls, outside: Path) -> DemoDay:
    clock = RunningClock()
    made = listening_socket("127.0.0.1", 0)
    address = f"http://127.0.0.1:{made.getsockname()[1]}"
    whole = running(database.url, bus, [PARK], SERVICES, PROJECTIONS, clock, outside)
    async with whole as up, listening(up.app, made):
        clock.set(opening_time(clock.now()))
        office = await up.devices.enrol(PARK, OFFICE, frozenset({"manager"}), OFFICE)
        summary = await play(up, PARK, address, office, clock, SEED, lambda _: None)
        rows = await up.parks[PARK].log.tail(0, 1_000_000)
    return DemoDay(PARK, rows, msgspec.json.encode(summary).decode(), database)


@contextmanager
def played_once() -> Iterator[subprocess.Popen[str]]:
    """The same day in a process of its own, as `deploy/run --once` plays it."""
    command = [sys.executable, "-m", "deploy.main", "run", "--once", "--seed", str(SEED)]
    environment = {name: value for name, value in os.environ.items() if not name.startswith("FIELDLEDGER_")}
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as process:
        try:
            yield process
        finally:
            process.terminate()
