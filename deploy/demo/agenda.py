"""What is to happen when: steps by minute of the day, taken in order."""

import heapq
from collections.abc import Awaitable, Callable
from datetime import datetime, timedelta

from deploy.demo.clock import RunningClock

Step = Callable[[], Awaitable[None]]


class Agenda:
    """Steps at minutes after `start`. A step may add others; one that is due already is taken at once."""

    def __init__(self, clock: RunningClock, start: datetime) -> None:
        self._clock = clock
        self._start = start
        self._steps: list[tuple[float, int, Step]] = []
        self._added = 0

    @property
    def minute(self) -> float:
        return (self._clock.now() - self._start) / timedelta(minutes=1)

    def at(self, minute: float, step: Step) -> None:
        self._added += 1
        heapq.heappush(self._steps, (minute, self._added, step))

    async def run(self) -> None:
        while self._steps:
            minute, _, step = heapq.heappop(self._steps)
            self._clock.set(self._start + timedelta(minutes=minute))
            await step()
