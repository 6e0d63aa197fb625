"""What if: a long day replayed without one caution, and under other rules, against a plain replay of it: read, decoded and folded once."""

import time
from datetime import datetime, timedelta

from msgspec.structs import replace

from contracts.discipline import CautionRecorded
from contracts.registration import PlayerRegistered
from contracts.rules import DEFAULT, BriefingRules, DisciplineRules
from contracts.what_if import Otherwise, WhatIf
from services.audit.days import Range, story
from services.audit.replays.decisions import MEMORY
from services.audit.replays.replay import what_if_at
from services.core.folds import States
from services.core.log import Log
from tests.bench.figures import Figure
from tests.bench.ground import Ground, database, open_log
from tests.bench.history import Day, fill
from tests.bench.turns import in_turn

VOID_AT_MOST, RULES_AT_MOST = 3.0, 6.0
"""No goal was given: what held when this was written, with room. Other rules take every decision anew, one void only what it touches."""


async def plain(log: Log, last: int) -> None:
    """Read, decode and fold every event once into all that decisions rest on."""
    states: dict[str, States] = {}
    async for events in story(log, Range(1, last)):
        MEMORY.apply(events, states)


async def measure(here: Ground, day: Day) -> list[Figure]:
    with database(here) as where:
        held = await fill(where, day, here.sizes.replayed)
        copy = day.copies(here.sizes.replayed) // 2
        caution = copy * len(day.events) + _first_of_two(day)
        three = replace(
            DEFAULT,
            version="three",
            briefing=BriefingRules(version=_briefing(day)),
            discipline=DisciplineRules(cautions_to_eject=3),
        )
        now = day.ends + timedelta(minutes=1)
        async with open_log(where) as (log, _):

            async def replayed() -> float:
                begun = time.perf_counter()
                await plain(log, held)
                return time.perf_counter() - begun

            async def void() -> float:
                return await _asked(log, WhatIf(void=(caution,)), now, changed=1)

            async def rules() -> float:
                return await _asked(log, WhatIf(rules=three, day=day.ends.date()), now, changed=copy)

            once, voided, ruled = await in_turn(max(2, here.sizes.turns - 2), replayed, void, rules)
    common = {"against": "a plain replay of the same day", "unit": "s", "reference": once, "at_most": True}
    what = f"a day of {held:,} events"
    return [
        Figure(name="what_if_void", what=f"{what} without one caution", value=voided, goal=VOID_AT_MOST, **common),
        Figure(name="what_if_rules", what=f"{what} under other rules", value=ruled, goal=RULES_AT_MOST, **common),
    ]


def _first_of_two(day: Day) -> int:
    """Where in the day the first caution of the player stands whom the second ejects."""
    return next(
        number
        for number, one in enumerate(day.events, 1)
        if isinstance(one.recorded.data, CautionRecorded) and one.recorded.data.violation == "overshooting"
    )


def _briefing(day: Day) -> int:
    """The briefing that the day's arrivals had to hear: it stays as it was."""
    arrivals = (one.recorded.data for one in day.events if isinstance(one.recorded.data, PlayerRegistered))
    return next(arrivals).briefing_due


async def _asked(log: Log, question: WhatIf, now: datetime, *, changed: int) -> float:
    begun = time.perf_counter()
    answer: Otherwise = await what_if_at(log, question, now)
    took = time.perf_counter() - begun
    assert len(answer.decisions) >= changed
    return took
