"""Growth: what a cold clearance and one player's audit cost in a long log, against a short one."""

import time
from collections.abc import Awaitable, Callable
from random import Random
from statistics import median

from contracts.leaf import decode
from services.core.clock import SetClock
from services.core.log import Log
from services.core.park import Park
from services.core.pool import Pool
from tests.bench.figures import Figure
from tests.bench.gate import clearance
from tests.bench.ground import PARK, Ground, database
from tests.bench.history import Day, copied, fill
from tests.databases import Database


class History:
    """A log of some length, and anybody in it."""

    def __init__(self, where: Database, day: Day, events: int) -> None:
        self._day, self._events = day, events
        self._clock, self._random = SetClock(day.ends), Random(7)  # noqa: S311 - a sample, not a secret
        self.pool = Pool(where.url)
        self._log = Log(self.pool, PARK, self._clock)

    def _anybody(self) -> tuple[str, str]:
        copy = self._random.randrange(self._day.copies(self._events))
        player, field = self._random.choice(self._day.games)
        return copied(player, copy), copied(field, copy)

    async def clear(self) -> None:
        """Whoever comes, asked for by a process that remembers nothing."""
        await clearance(Park(PARK, self._log, self._clock), *self._anybody())

    async def audit(self) -> None:
        """Everything that ever concerned one player."""
        tag = f"player:{self._anybody()[0]}"
        events = [decode(row.leaf) for row in (await self._log.read({tag: 0})).events[tag]]
        assert events


async def compared(
    samples: int, long: Callable[[], Awaitable[None]], short: Callable[[], Awaitable[None]]
) -> tuple[float, float]:
    """The medians of both in milliseconds, taken in turn; the first fifth only warms them up."""
    found: tuple[list[float], list[float]] = ([], [])
    for _ in range(samples):
        for work, times in zip((long, short), found, strict=True):
            begun = time.perf_counter()
            await work()
            times.append((time.perf_counter() - begun) * 1000)
    return median(found[0][samples // 5 :]), median(found[1][samples // 5 :])


async def measure(here: Ground, day: Day) -> list[Figure]:
    sizes = here.sizes
    with database(here) as large, database(here) as small:
        held = await fill(large, day, sizes.large)
        few = await fill(small, day, sizes.small)
        long, short = History(large, day, sizes.large), History(small, day, sizes.small)
        cleared = await compared(sizes.samples, long.clear, short.clear)
        audited = await compared(sizes.samples, long.audit, short.audit)
        await long.pool.close()
        await short.pool.close()
    common = {"against": f"the same in a log of {few:,}", "unit": "ms", "goal": 1.3, "at_most": True}
    return [
        Figure(
            name="growth_clearance",
            what=f"one cold clearance in a log of {held:,} events, median",
            value=cleared[0],
            reference=cleared[1],
            **common,
        ),
        Figure(
            name="growth_audit",
            what=f"one player's events read from a log of {held:,}, median",
            value=audited[0],
            reference=audited[1],
            **common,
        ),
    ]
