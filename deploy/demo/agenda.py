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

    async def run(self, until: float = float("inf")) -> None:
        """Take every step, or those up to a minute; there the clock stands afterwards."""
        while self._steps and self._steps[0][0] <= until:
            minute, _, step = heapq.heappop(self._steps)
            self._clock.set(self._start + timedelta(minutes=minute))
            await step()
        if self._steps:
            self._clock.set(self._start + timedelta(minutes=until))
