"""A question put to one park's log from a terminal, without the server; the database has to be up."""

import os
import sys
from collections.abc import Awaitable, Callable
from typing import TypeVar

import uvloop

from contracts.problems import Refused
from deploy.upkeep import database_of, logs_of
from services.core.clock import SystemClock
from services.core.park import Park
from services.core.settings import read

T = TypeVar("T")


def ask(park: str | None, question: Callable[[Park], Awaitable[T]]) -> T:
    """The answer of a park, the only one where none is named; ends with a sentence where it is refused."""
    try:
        return uvloop.run(_ask(database_of(read(os.environ)), park, question))
    except Refused as refused:
        sys.exit(f"fieldledger: {refused.detail}")


async def _ask(database_url: str, park: str | None, question: Callable[[Park], Awaitable[T]]) -> T:
    async with logs_of(database_url) as (_, logs):
        named = [log for log in logs if park in {None, log.park}]
        if len(named) != 1:
            sys.exit(
                f"fieldledger: name one park with --park: {', '.join(log.park for log in logs) or 'there is none'}."
            )
        return await question(Park(named[0].park, named[0], SystemClock()))
