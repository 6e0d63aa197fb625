"""Group reading: reads by tag that wait at the same time are answered by one query, as of one head."""

import asyncio
from collections.abc import Awaitable, Callable, Mapping

from msgspec import Struct


class Row(Struct, frozen=True):
    position: int
    leaf: bytes


class Head(Struct, frozen=True):
    """Where the log ends: the epoch it is in, and its last position (0 when it is empty)."""

    epoch: int
    position: int


class Reading(Struct, frozen=True):
    """The events of each tag that was asked for, in order, and the head at which this is all there is."""

    head: Head
    events: dict[str, list[Row]]


Query = Callable[[Mapping[str, int]], Awaitable[Reading]]
Waiting = tuple[Mapping[str, int], "asyncio.Future[Reading]"]


class Reader:
    """The one that reads by tag, per park and process. `query` answers many tags at once, each after a position."""

    def __init__(self, query: Query) -> None:
        self._query = query
        self._waiting: list[Waiting] = []
        self._at_work: asyncio.Task[None] | None = None

    async def read(self, wanted: Mapping[str, int]) -> Reading:
        """For each tag its events after a position. The head is never older than this call."""
        answer: asyncio.Future[Reading] = asyncio.get_running_loop().create_future()
        self._waiting.append((wanted, answer))
        if self._at_work is None or self._at_work.done():
            self._at_work = asyncio.create_task(self._run())
        return await answer

    async def _run(self) -> None:
        while self._waiting:
            together, self._waiting = self._waiting, []
            merged: dict[str, int] = {}
            for wanted, _ in together:
                for tag, after in wanted.items():
                    merged[tag] = min(after, merged.get(tag, after))
            try:
                reading = await self._query(merged)
            except Exception as error:  # noqa: BLE001 - whatever it is, it is for those who asked
                _fail(together, error)
            else:
                _answer(together, reading)


def _answer(together: list[Waiting], reading: Reading) -> None:
    for wanted, answer in together:
        if not answer.done():
            events = {
                tag: [row for row in reading.events[tag] if row.position > after] for tag, after in wanted.items()
            }
            answer.set_result(Reading(reading.head, events))


def _fail(together: list[Waiting], error: Exception) -> None:
    for _, answer in together:
        if not answer.done():
            answer.set_exception(error)
