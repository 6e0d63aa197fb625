"""A question put to one park's log from a terminal, without the server; the database has to be up."""

import os
import sys
from collections.abc import AsyncIterator, Awaitable, Callable, Coroutine, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from typing import Any, TypeVar

import uvloop

from contracts import leaf
from contracts.problems import Refused
from deploy.demo.clock import RunningClock
from deploy.upkeep import database_of, logs_of
from services.core.log import Log
from services.core.park import Park
from services.core.pool import LOST, Pool
from services.core.settings import read

T = TypeVar("T")


def ask(park: str | None, question: Callable[[Park], Awaitable[T]]) -> T:
    """The answer of a park, the only one where none is named; ends with a sentence where it is refused."""

    async def answer() -> T:
        async with park_of(database_of(read(os.environ)), park) as (_, where):
            return await question(where)

    return answered(answer())


def answered(asking: Coroutine[Any, Any, T]) -> T:
    """What was asked for, or an end with the sentence why it is refused."""
    try:
        return uvloop.run(asking)
    except Refused as refused:
        sys.exit(f"fieldledger: {refused.detail}")
    except LOST as error:
        sys.exit(
            f"fieldledger: the database cannot be reached ({error}). Start the park, or the database, and ask again."
        )


def instant(text: str) -> datetime:
    """A moment as it is typed; ends with a sentence where it names no offset, or is none."""
    try:
        found = datetime.fromisoformat(text)
        if found.tzinfo is not None:
            return found.astimezone(UTC)
    except (ValueError, OverflowError):
        pass
    sys.exit(f"fieldledger: {text} is no instant with its offset, such as 2026-05-09T14:00:00+01:00.")


@asynccontextmanager
async def park_of(database_url: str, park: str | None) -> AsyncIterator[tuple[Pool, Park]]:
    """A park, the only one where none is named. Its clock does not run behind its log, which may be of an invented day."""
    async with logs_of(database_url) as (pool, logs):
        log = _named(logs, park)
        clock = RunningClock()
        head = await log.head()
        for row in await log.between(head.position, head.position):
            clock.not_before(leaf.decode(row.leaf).recorded_at)
        yield pool, Park(log.park, log, clock)


def _named(logs: Sequence[Log], park: str | None) -> Log:
    named = [log for log in logs if park in {None, log.park}]
    if len(named) == 1:
        return named[0]
    parks = ", ".join(log.park for log in logs) or "none"
    if park is None:
        sys.exit(f"fieldledger: name one park with --park. This database has: {parks}.")
    sys.exit(f"fieldledger: there is no park {park} in this database. It has: {parks}.")
