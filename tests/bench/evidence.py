"""Evidence: how long a proof is in a log of a million events, and what a checkpoint over a million new ones costs against hashing them once."""

import sys
import time
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import asyncpg

from contracts.leaf import leaf_hashes
from deploy.app import plain
from services.core.clock import SystemClock
from services.core.log import Log
from services.core.park import Park
from services.core.pool import Pool
from services.evidence import checkpoints, library, note, tiles
from services.evidence.checkpoint import Checkpoint, origin_of
from services.evidence.note import SigningKey
from services.evidence.outside import Outside
from services.evidence.rounds import SLICE, Rounds
from services.evidence.tree import root_at
from tests.bench.figures import Figure
from tests.bench.ground import PARK, Ground, database
from tests.bench.history import Day, fill

EVENTS = 1_000_000
MOST_HASHES = 20
GOAL = 2.0
CHUNK = 100 * SLICE
"""Events held in memory at a time; both are timed over each chunk, in turn."""


class Grown:
    """A tree that grows in memory, slice by slice, as a round grows it in the database."""

    def __init__(self) -> None:
        self.tiles: dict[tuple[int, int], bytes] = {}
        self._edge: dict[int, tuple[int, bytes]] = {}

    def take(self, leaves: list[bytes]) -> None:
        for start in range(0, len(leaves), SLICE):
            grown = tiles.grown(self._edge, leaf_hashes(leaves[start : start + SLICE]))
            self.tiles |= grown
            for level, index in sorted(grown):
                self._edge[level] = (index, grown[level, index])

    def sign(self, key: SigningKey) -> str:
        size = tiles.size_of(self._edge)
        root = root_at(tiles.nodes_in(self.tiles), size)
        return note.sign(Checkpoint.at(origin_of(PARK, 1), size, root, SystemClock().now()).text, [key])


def hashed(leaves: list[bytes]) -> None:
    """The reference: every byte of every leaf through SHA-256, once, behind the zero byte of a leaf (RFC 9162 §2.1.1)."""
    for leaf in leaves:
        sha256(b"\x00" + leaf).digest()


def seconds(work: Callable[..., Any], *arguments: Any) -> float:
    """What it costs the processor: both sides only compute, and whoever else is at work is not their affair."""
    begun = time.process_time()
    work(*arguments)
    return time.process_time() - begun


async def in_memory(log: Log, events: int) -> tuple[float, float]:
    """Seconds for the round's own work over leaves in memory, and for hashing their bytes once."""
    tree, key, spent, reference = Grown(), SigningKey.make(origin_of(PARK, 1)), 0.0, 0.0
    for number, first in enumerate(range(0, events, CHUNK)):
        leaves = [row.leaf for row in await log.tail(first, CHUNK)]
        if number % 2:
            reference += seconds(hashed, leaves)
            spent += seconds(tree.take, leaves)
        else:
            spent += seconds(tree.take, leaves)
            reference += seconds(hashed, leaves)
    return spent + seconds(tree.sign, key), reference


async def longest(pool: Pool, log: Log, events: int) -> int:
    """The most hashes in the proof of one event, of the first, the last and a thousand others."""
    chance = Random(7)  # noqa: S311 - a sample, not a secret
    positions = {1, events, *(chance.randint(1, events) for _ in range(1000))}
    async with pool.connection() as connection:
        under = await checkpoints.newest(connection, PARK)
        assert under is not None
        return max([len((await library.proof(connection, log, one, under)).hashes) for one in positions])


async def measure(here: Ground, day: Day) -> list[Figure]:
    with database(here) as where, TemporaryDirectory(prefix="fieldledger-evidence-") as folder:
        held = await fill(where, day, min(EVENTS, here.sizes.large))
        pool = Pool(where.url)
        try:
            async with Log(pool, PARK, SystemClock()) as log:
                spent, reference = await in_memory(log, held)
                park = Park(PARK, log, SystemClock())
                rounds = Rounds(park, Outside(Path(folder), PARK), lambda: asyncpg.connect(plain(where.url)))
                begun = time.perf_counter()
                await rounds.sign()
                whole = time.perf_counter() - begun
                hashes = await longest(pool, log, held)
        finally:
            await pool.close()
    sys.stdout.write(
        f"evidence_round: the whole round over {held:,} new events, read from the database and the tree stored there: "
        f"{whole:.1f} s = {whole / reference:.1f} times hashing their bytes once; no goal\n"
    )
    return [
        Figure(
            name="evidence_proof",
            what=f"the longest proof of one event in a log of {held:,}",
            against="one hash",
            unit="hashes",
            value=hashes,
            reference=1,
            goal=MOST_HASHES,
            at_most=True,
        ),
        Figure(
            name="evidence_checkpoint",
            what=f"leaf hashes, tree and signature of a checkpoint over {held:,} new events, their leaves in memory",
            against="hashing the bytes of these leaves once",
            unit="s",
            value=spent,
            reference=reference,
            goal=GOAL,
            at_most=True,
        ),
    ]
