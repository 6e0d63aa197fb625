"""The rate of durable commands while many read along, against the same without them."""

import asyncio
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from tests.bench.commands import Server, server
from tests.bench.figures import Figure
from tests.bench.ground import Ground, database
from tests.bench.history import Day
from tests.bench.load import CONNECTIONS
from tests.bench.turns import in_turn

READERS = 500
LAG_SECONDS = 2.0
"""Given to the readers after a load before they are asked how far they have come."""


@asynccontextmanager
async def crowd(up: Server) -> AsyncIterator[None]:
    """So many readers and one that never reads, for the block. Raises where one was told too little, or out of order."""
    port, key = up.address
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tests.bench.crowd", port, key, str(READERS),
        stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    if await process.stdout.readline() != b"ready\n":
        raise RuntimeError("the readers were refused; see above")
    yield
    await asyncio.sleep(LAG_SECONDS)
    process.stdin.close()
    told, _position, least, whole = map(int, (await process.stdout.read()).split())
    if await process.wait() or not told or not least:
        raise RuntimeError(f"a reader was told nothing: {told} events, {least} bytes")
    sys.stderr.write(f"{READERS} readers were told {told:,} events each, {whole / 1e6:,.0f} MB in all\n")


async def measure(here: Ground, _day: Day) -> list[Figure]:
    seconds = here.sizes.seconds * 1.5

    async def watched(up: Server) -> float:
        async with crowd(up):
            return await up.load(seconds, "", "person", "test")

    with database(here) as where:
        async with server(here, where) as up:
            await up.load(1.0, "", "person", "test")
            with_readers, alone = await in_turn(
                here.sizes.turns, lambda: watched(up), lambda: up.load(seconds, "", "person", "test")
            )
    return [
        Figure(
            name="commands_with_readers",
            what=f"people and tests recorded over HTTP, {CONNECTIONS} connections, while {READERS} streams of all events are read and an integrator never reads",
            against="the same without them",
            unit="req/s",
            value=with_readers,
            reference=alone,
            goal=0.9,
        )
    ]
