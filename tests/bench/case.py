"""Case files: what one player's costs out of a log of a million events, against one of ten thousand."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from random import Random

import asyncpg

from contracts.story import Story
from deploy.app import plain
from deploy.state import private_folder
from services.audit.cases.dossier import gather
from services.audit.cases.routes import case_of
from services.audit.cases.shelf import LogShelf
from services.audit.stories.sources import story_of
from services.audit.stories.story import Span
from services.core.clock import SetClock
from services.core.log import Log
from services.core.park import Park
from services.core.pool import Pool
from services.evidence.outside import Outside
from services.evidence.rounds import Rounds
from tests.bench.figures import Figure
from tests.bench.ground import PARK, Ground, database
from tests.bench.growth import compared
from tests.bench.history import Day, copied, fill
from tests.databases import Database

SMALL, LARGE = 10_000, 1_000_000
GOAL = 1.5


class Desk:
    """Where case files are made out of a log of some length; everything in it lies under a checkpoint already."""

    def __init__(self, park: Park, pool: Pool, rounds: Rounds, day: Day, copies: int) -> None:
        self._park, self._pool, self._rounds = park, pool, rounds
        self._day, self._copies = day, copies
        self._random = Random(7)  # noqa: S311 - a sample, not a secret

    def _anybody(self) -> str:
        player, _ = self._random.choice(self._day.games)
        return copied(player, self._random.randrange(self._copies))

    async def whole(self) -> None:
        """The file of whoever asks, from the first read to the last byte of the ZIP."""
        assert await case_of(self._park, self._pool, self._rounds.sign, "player", self._anybody())

    async def read(self) -> None:
        """All of it but what the length of the log cannot touch: the report and the ZIP."""

        async def tell(tag: str, after: int) -> Story:
            return await story_of(self._park, tag, Span(after=after))

        await gather(LogShelf(self._pool, PARK), tell, PARK, "player", self._anybody())


@asynccontextmanager
async def desk(where: Database, day: Day, events: int, folder: Path) -> AsyncIterator[Desk]:
    """A desk over a log that is filled, and signed for once."""
    pool, clock = Pool(where.url), SetClock(day.ends)
    try:
        async with Log(pool, PARK, clock) as log:
            park = Park(PARK, log, clock)
            rounds = Rounds(park, Outside(private_folder(folder), PARK), lambda: asyncpg.connect(plain(where.url)))
            await rounds.sign()
            yield Desk(park, pool, rounds, day, day.copies(events))
    finally:
        await pool.close()


async def measure(here: Ground, day: Day) -> list[Figure]:
    few, many = min(SMALL, here.sizes.small), min(LARGE, here.sizes.large)
    samples = max(10, here.sizes.screen_samples // 5)
    with database(here) as large, database(here) as small:
        held, against = await fill(large, day, many), await fill(small, day, few)
        folder = here.outside
        async with (
            desk(large, day, many, folder / "case-large") as long,
            desk(small, day, few, folder / "case-small") as short,
        ):
            whole = await compared(samples, long.whole, short.whole)
            read = await compared(samples, long.read, short.read)
    common = {"against": f"the same out of a log of {against:,}", "unit": "ms", "goal": GOAL, "at_most": True}
    return [
        Figure(
            name="case_file",
            what=f"one player's case file out of a log of {held:,} events, from asking to ZIP, median",
            value=whole[0],
            reference=whole[1],
            **common,
        ),
        Figure(
            name="case_gathered",
            what=f"reading and telling alone what one player's case file holds, out of a log of {held:,}, median",
            value=read[0],
            reference=read[1],
            **common,
        ),
    ]
