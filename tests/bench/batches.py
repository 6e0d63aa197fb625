"""A device's backlog sent from its queue on disk, against the same facts told one after another over one connection."""

import asyncio
import tempfile
import time
from pathlib import Path
from uuid import uuid4

from contracts.client import Park, Queue
from contracts.velocity import TestMarker
from tests.bench.commands import server
from tests.bench.figures import Figure
from tests.bench.ground import PARK, Ground, database
from tests.bench.history import Day
from tests.bench.load import MARKERS
from tests.bench.turns import in_turn

BACKLOG = 5_000
ALONE = 250


def facts(many: int) -> list[TestMarker]:
    """Tests of that many markers: as many subjects, all of one chronograph."""
    run = uuid4().hex[:8]
    return [
        TestMarker(
            test=f"{run}-{n}", marker=f"m-{n * 7919 % MARKERS}", chrono="bench-1", readings_fps=(271.0, 274.0, 269.5)
        )
        for n in range(many)
    ]


def from_the_queue(park: Park, folder: Path) -> float:
    """Facts recorded in a second, from the first byte sent to the last verdict kept on disk."""
    queue = Queue(folder / "queue")
    queue.put_all(facts(BACKLOG))
    begun = time.perf_counter()
    park.send(queue)
    taken = time.perf_counter() - begun
    waiting, refused = queue.waiting, len(queue.refused())
    queue.close()
    if waiting or refused:
        raise RuntimeError(f"{waiting} facts wait, {refused} were refused")
    return BACKLOG / taken


def one_by_one(park: Park) -> float:
    begun = time.perf_counter()
    for fact in facts(ALONE):
        park.do(fact)
    return ALONE / (time.perf_counter() - begun)


async def measure(here: Ground, _day: Day) -> list[Figure]:
    with database(here) as where, tempfile.TemporaryDirectory() as folder:
        async with server(here, where) as up:
            port, key = up.address
            with Park(f"http://127.0.0.1:{port}", PARK, key) as park:
                queued, alone = await in_turn(
                    here.sizes.turns,
                    lambda: asyncio.to_thread(from_the_queue, park, Path(folder)),
                    lambda: asyncio.to_thread(one_by_one, park),
                )
    return [
        Figure(
            name="backlog",
            what=f"{BACKLOG:,} facts sent in batches from a device's queue on disk",
            against="the same facts told one after another, each with its own request",
            unit="facts/s",
            value=queued,
            reference=alone,
            goal=10,
        )
    ]
