"""Replay to every player's clearance: against reading and decoding the same rows, and against an event store of others doing that."""

import asyncio
import time

import msgspec

from contracts.envelope import Recorded
from contracts.leaf import decode
from services.clearance import model
from services.clearance.api import PROJECTION
from services.core.command import Moment
from services.core.fold import Given
from services.core.folds import States
from services.core.log import Log
from services.core.rules import RULES
from tests.bench.eventsourced import Eventsourced
from tests.bench.figures import Figure
from tests.bench.ground import Ground, database, open_log
from tests.bench.history import Day, copied, fill
from tests.bench.turns import in_turn

EVENTS_OF_OTHERS = 0.2
"""Of ours, as many are enough to tell their pace."""


async def read(log: Log) -> int:
    """Read and decode every event, and nothing else."""
    after = 0
    while rows := await log.tail(after):
        for row in rows:
            decode(row.leaf)
        after = rows[-1].position
    return after


async def replay(log: Log) -> tuple[int, Given]:
    """Read and decode every event, and fold it into everything that a clearance rests on."""
    after, states = 0, dict[str, States]()
    while rows := await log.tail(after):
        events: list[Recorded[object]] = [decode(row.leaf) for row in rows]
        PROJECTION.apply(events, states)
        after = rows[-1].position
    return after, PROJECTION.given(states)


def judge(given: Given, day: Day, players: dict[str, str], position: int) -> int:
    """Ask for every player's clearance; how many of them are cleared."""
    rules = given.of(RULES, "").rules
    moment = Moment(now=day.ends, occurred_at=day.ends, day=day.ends.date(), rules=rules, position=position)
    return sum(not model.reasons(given, player, field, moment) for player, field in players.items())


async def measure(here: Ground, day: Day) -> list[Figure]:
    with database(here) as where, database(here) as theirs, Eventsourced(theirs.admin_url) as others:
        held = await fill(where, day, here.sizes.replayed)
        copies = range(day.copies(here.sizes.replayed))
        players = {copied(player, copy): copied(field, copy) for copy in copies for player, field in day.games}
        some = [msgspec.json.decode(one.body) for one in day.events for _ in copies][: int(held * EVENTS_OF_OTHERS)]
        others.fill(some)
        async with open_log(where) as (log, _):

            async def ours() -> float:
                begun = time.perf_counter()
                position, given = await replay(log)
                judge(given, day, players, position)
                return held / (time.perf_counter() - begun)

            async def bare() -> float:
                begun = time.perf_counter()
                assert await read(log) == held
                return held / (time.perf_counter() - begun)

            async def of_others() -> float:
                begun = time.perf_counter()
                assert await asyncio.to_thread(others.read) >= len(some)
                return len(some) / (time.perf_counter() - begun)

            pace, reading, their_reading = await in_turn(max(2, here.sizes.turns - 2), ours, bare, of_others)
    what = f"replay of {held:,} events to the clearance of {len(players):,} players"
    common = {"what": what, "unit": "events/s", "value": pace}
    return [
        Figure(name="replay_read", against="reading and decoding the same rows", reference=reading, goal=0.5, **common),
        Figure(
            name="replay_eventsourcing",
            against=f"eventsourcing reading and decoding {len(some):,} of them",
            reference=their_reading,
            goal=4,
            **common,
        ),
    ]
