"""Plays the invented day on a running park, then holds its read tables against its log."""

from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta
from typing import Final

import httpx

from deploy.app import Running
from deploy.demo.clock import RunningClock
from deploy.demo.day import Day
from deploy.demo.invitations import enrolled
from deploy.demo.summary import Summary, summary
from deploy.services import PROJECTIONS
from services.core.rebuild import check

PARK: Final = "larchmoor"
OPENS: Final = time(8, 0, tzinfo=UTC)
SATURDAY: Final = 5


def opening_time(today: datetime) -> datetime:
    """Eight in the morning of the coming Saturday, so that a board left up shows a day that is not over."""
    day = today.date() + timedelta(days=(SATURDAY - today.weekday()) % 7 or 7)
    return datetime.combine(day, OPENS)


def _minutes_after_opening(until: time | None) -> float:
    return float("inf") if until is None else (until.hour - OPENS.hour) * 60.0 + until.minute


async def play(  # noqa: PLR0913, PLR0917 - the wiring names what it wires
    up: Running,
    park: str,
    address: str,
    office: str,
    clock: RunningClock,
    seed: int,
    tell: Callable[[str], None],
    until: time | None = None,
    keep: Callable[[dict[str, str]], None] = lambda _: None,
) -> Summary:
    """The day, or the day up to a time of day, through the HTTP API at `address`; what it came to by the log.

    It begins with the key of the `office` alone; `keep` is handed the keys of all stations once they are enrolled.
    """
    keys = await enrolled(address, park, office, clock, seed)
    keep(keys)
    async with httpx.AsyncClient(base_url=address, timeout=30) as http:
        await Day(http, park, keys, clock, seed, tell).play(_minutes_after_opening(until))
    log = up.parks[park].log
    match = True
    for projection in PROJECTIONS:
        difference = await check(projection, log, up.pool)
        if difference is not None:
            match = False
            tell(f"Projection {projection.name} differs from the log: {difference.sentence}.")
    return await summary(log, projections_match_log=match)
