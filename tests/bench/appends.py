"""Durable conditional appends with three tags, from 64 callers: against themselves unbatched, a bare INSERT, and an event store of others."""

import asyncio
import os
import shutil
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from itertools import count
from uuid import UUID, uuid4

import asyncpg
import msgspec

from contracts import leaf
from contracts.catalogue import TYPES, tags_of
from contracts.envelope import Event
from contracts.velocity import MarkerTested
from services.core.log import Append, Appended, Condition, Draft, Log, Request
from services.velocity.states import BENCH
from tests.bench.eventsourced import Eventsourced
from tests.bench.figures import Figure
from tests.bench.ground import Ground, database, open_log
from tests.bench.history import Day
from tests.bench.turns import in_turn
from tests.databases import Database

CALLERS = 64
BARE = "INSERT INTO public.bare (body) VALUES ('{}')"
_names, _ids = count(), count(time.time_ns() >> 24)
Write = Callable[[Append], Awaitable[Appended]]


class Subjects:
    """A marker, a chronograph and a player that only one caller concerns, with the readings that it sends again and again.

    What is measured is the append: the event's own bytes are made beforehand.
    """

    def __init__(self) -> None:
        name = next(_names)
        data = MarkerTested(
            test=f"t-{name}",
            marker=f"m-{name}",
            chrono=f"c-{name}",
            readings_fps=(271.0, 274.0, 269.5),
            low_pressure=False,
            sealed=True,
            temperature_c=14.5,
            misreads=(),
            ball_g=None,
            rate_bps=None,
        )
        self._now = datetime.now(UTC)
        self._tags = (*tags_of(data), f"player:p-{name}")
        self._body = leaf.encode(
            Event(
                type=TYPES[MarkerTested],
                version=MarkerTested.VERSION,
                id=uuid4(),
                day=self._now.date(),
                occurred_at=self._now,
                claimed_at=None,
                clock="server",
                device="chrono-1",
                device_seq=None,
                actor="staff-1",
                tags=self._tags,
                data=msgspec.Raw(msgspec.json.encode(data)),
            )
        )

    def append(self, after: int) -> Append:
        """The readings once more, on condition that nothing newer than `after` concerns the marker, the chronograph or the player."""
        name, day = _new_id(), self._now.date()
        draft = Draft(name, TYPES[MarkerTested], day, self._now, self._tags, (), self._body)
        conditions = tuple(Condition(tag, after, BENCH.types) for tag in self._tags)
        return Append(Request(name, "chrono-1", b"d" * 32), (draft,), conditions)


def _new_id() -> UUID:
    """Ids that ascend, as those of UUIDv7 do."""
    return UUID(int=(7 << 76) + (1 << 127) + (next(_ids) << 80))


async def appends_per_second(write: Write, seconds: float) -> float:
    """What 64 callers get done; each has subjects of its own, and rests on its own last append."""
    until = time.perf_counter() + seconds

    async def caller() -> int:
        own, after, done = Subjects(), 0, 0
        while time.perf_counter() < until:
            after = (await write(own.append(after))).last
            done += 1
        return done

    begun = time.perf_counter()
    done = sum(await asyncio.gather(*(caller() for _ in range(CALLERS))))
    return done / (time.perf_counter() - begun)


def unbatched(log: Log) -> Write:
    """One call for each append, over the same pool."""

    async def write(append: Append) -> Appended:
        (outcome,) = await log._write([append])
        assert isinstance(outcome, Appended)
        return outcome

    return write


async def bare_inserts_per_second(where: Database, seconds: float) -> float:
    """What pgbench with one bare one-row INSERT, the best of 1, 16 and 64 clients; where that is missing, the same from asyncpg."""
    one = _pgbench if shutil.which("pgbench") else _asyncpg_inserts
    return max([await one(where.admin_url, clients, seconds) for clients in (1, 16, 64)])


async def _pgbench(url: str, clients: int, seconds: float) -> float:
    script = BARE.format("x" * 500) + ";\n"
    command = [
        "-n",
        "-M",
        "prepared",
        "-f",
        "-",
        "-c",
        str(clients),
        "-j",
        str(min(clients, 2)),
        "-T",
        str(max(2, round(seconds))),
    ]
    process = await asyncio.create_subprocess_exec(
        "pgbench", *command, url, stdin=-1, stdout=-1, stderr=-1, env=os.environ | {"LC_ALL": "C"}
    )
    output, errors = await process.communicate(script.encode())
    if process.returncode != 0:
        raise RuntimeError(f"pgbench: {errors.decode()}")
    (line,) = [line for line in output.decode().splitlines() if line.startswith("tps")]
    return float(line.split()[2])


async def _asyncpg_inserts(url: str, clients: int, seconds: float) -> float:
    connections = [await asyncpg.connect(url) for _ in range(clients)]
    until = time.perf_counter() + seconds

    async def client(connection: asyncpg.Connection) -> int:
        statement, done = await connection.prepare(BARE.format("x" * 500)), 0
        while time.perf_counter() < until:
            await statement.fetch()
            done += 1
        return done

    try:
        return sum(await asyncio.gather(*map(client, connections))) / seconds
    finally:
        for connection in connections:
            await connection.close()


async def measure(here: Ground, _day: Day) -> list[Figure]:
    seconds = here.sizes.seconds
    with database(here) as where:
        connection = await asyncpg.connect(where.admin_url)
        await connection.execute("CREATE TABLE public.bare (id bigint GENERATED ALWAYS AS IDENTITY, body text)")
        await connection.close()
        with Eventsourced(where.admin_url) as others:
            async with open_log(where) as (log, _):
                await appends_per_second(log.append, 0.3)
                batched, alone, bare, one_save = await in_turn(
                    here.sizes.turns,
                    lambda: appends_per_second(log.append, seconds),
                    lambda: appends_per_second(unbatched(log), seconds),
                    lambda: bare_inserts_per_second(where, seconds / 2),
                    lambda: others.saves_per_second(seconds / 2),
                )
    what = f"durable conditional appends with three tags, {CALLERS} callers"
    tool = "pgbench" if shutil.which("pgbench") else "asyncpg (no pgbench here)"
    common = {"what": what, "unit": "appends/s", "value": batched}
    return [
        Figure(name="append_group", against="the same, one call each", reference=alone, goal=5, **common),
        Figure(
            name="append_insert",
            against=f"{tool}: one bare one-row INSERT, best of 1, 16 and 64 clients",
            reference=bare,
            goal=1,
            **common,
        ),
        Figure(
            name="append_eventsourcing",
            against="eventsourcing on the same server: one save an event, best of 1 and 16 threads",
            reference=one_save,
            goal=20,
            **common,
        ),
    ]
