"""One clearance at the gate, in a warm process: against SELECT 1 over the same pool."""

import time
from random import Random
from uuid import uuid4

from contracts.registration import HoldBriefing
from deploy.services import SERVICES
from services.clearance import model
from services.core.clock import SetClock
from services.core.command import Moment
from services.core.log import Log
from services.core.park import Asked, Caller, Park
from services.core.pool import Pool
from services.core.rules import RULES, operating_day
from services.core.times import Contact
from tests.bench.figures import Figure
from tests.bench.ground import PARK, Ground, database
from tests.bench.history import Day, copied, fill
from tests.bench.turns import p99

HANDLERS = {handler.command: handler for service in SERVICES for handler in service.handlers}


async def clearance(park: Park, player: str, field: str) -> None:
    """The gate's question, answered from the log."""
    given, read = await park.load(model.subjects(player, field))
    rules, now = given.of(RULES, "").rules, park.clock.now()
    moment = Moment(now=now, occurred_at=now, day=operating_day(rules, now), rules=rules, position=max(read.values()))
    model.reasons(given, player, field, moment)


async def select_one(pool: Pool) -> None:
    async with pool.connection() as connection:
        await connection.fetchval("SELECT 1")


async def tell(park: Park, player: str) -> None:
    """Something new about a player."""
    command = HoldBriefing(briefing=f"b-{uuid4().hex[:12]}", version=1, players=(player,))
    caller = Caller(device="desk-1", roles=frozenset({"manager"}))
    asked = Asked(id=uuid4(), digest=b"d" * 32, caller=caller, contact=Contact(received_at=park.clock.now()))
    await park.execute(HANDLERS[HoldBriefing], command, asked)


async def measure(here: Ground, day: Day) -> list[Figure]:
    random, clock = Random(7), SetClock(day.ends)  # noqa: S311 - a sample, not a secret
    copies = range(day.copies(here.sizes.replayed))
    players = [(copied(player, copy), copied(field, copy)) for copy in copies for player, field in day.games]
    asked, bare = list[float](), list[float]()
    with database(here) as where:
        held = await fill(where, day, here.sizes.replayed)
        pool = Pool(where.url)
        async with Log(pool, PARK, clock) as log, Log(pool, PARK, clock) as elsewhere:
            park, another = Park(PARK, log, clock), Park(PARK, elsewhere, clock)
            at_the_gate = random.sample(players, min(len(players), here.sizes.samples // 2))
            for player, field in at_the_gate:
                await clearance(park, player, field)
            for number in range(here.sizes.samples):
                player, field = random.choice(at_the_gate)
                if number % 2:
                    await tell(another, player)
                begun = time.perf_counter()
                await clearance(park, player, field)
                asked.append(time.perf_counter() - begun)
                begun = time.perf_counter()
                await select_one(pool)
                bare.append(time.perf_counter() - begun)
        await pool.close()
    return [
        Figure(
            name="clearance",
            what=f"one clearance at the gate, p99 of {len(asked):,}; park of {held:,} events; half of the players just changed",
            against="SELECT 1 over the same pool, p99",
            unit="ms",
            value=p99(asked) * 1000,
            reference=p99(bare) * 1000,
            goal=8,
            at_most=True,
        )
    ]
