"""Group commit: appends that wait at the same time are recorded in one call, each with an outcome of its own."""

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable, Sequence
from types import TracebackType
from typing import Self

import anyio
import stamina
from prometheus_client import Counter, Histogram

from services.core.append import Append, Appended, OutcomeUnknown
from services.core.pool import LOST

Outcome = Appended | Exception
Write = Callable[[Sequence[Append]], Awaitable[list[Outcome]]]

MOST_EVENTS = 500
MOST_BYTES = 1 << 20
CALLS = 2  # under way at a time: while the database carries one out, the next is prepared
WORTH_HALVING = 32
PATIENCE = 30.0  # seconds for which a batch whose outcome is unknown is sent again

BATCHES = Counter("fieldledger_log_batches", "Calls that appended to the log", ["park"])
EVENTS = Counter("fieldledger_log_events", "Events handed to the log", ["park"])
SECONDS = Histogram("fieldledger_log_batch_seconds", "Time from sending a batch to its verdicts", ["park"])


class _Waiting:
    """An append, and the future that its caller awaits."""

    __slots__ = ("append", "brings", "needs", "outcome", "size")

    def __init__(self, append: Append) -> None:
        self.append = append
        self.outcome: asyncio.Future[Appended] = asyncio.get_running_loop().create_future()
        self.size = sum(len(draft.body) for draft in append.events)
        self.brings: set[object] = {tag for draft in append.events for tag in draft.tags}
        self.brings.add(append.request.id)
        self.needs: set[object] = {condition.tag for condition in append.conditions}
        self.needs.add(append.request.id)

    def settle(self, outcome: Outcome) -> None:
        if self.outcome.done():  # its caller has gone; what was recorded stays recorded
            return
        if isinstance(outcome, Appended):
            self.outcome.set_result(outcome)
        else:
            self.outcome.set_exception(outcome)


class Writer:
    """The one that appends, per park and process. On leaving, it first records all that still waits."""

    def __init__(self, write: Write, park: str, *, patience: float = PATIENCE) -> None:
        self._write = write
        self._patience = patience
        self._waiting: deque[_Waiting] = deque()
        self._wake = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []
        self._calls = 0
        self._closing = False
        self._batches = BATCHES.labels(park)
        self._events = EVENTS.labels(park)
        self._seconds = SECONDS.labels(park)

    async def __aenter__(self) -> Self:
        self._tasks = [asyncio.create_task(self._run()) for _ in range(CALLS)]
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._closing = True
        self._wake.set()
        with anyio.CancelScope(shield=True):
            await asyncio.wait(self._tasks)

    async def append(self, append: Append) -> Appended:
        """Record the events, or raise why not. Cancelling the caller does not take the append back."""
        if self._closing or not self._tasks:
            raise RuntimeError("the log is not open for writing")
        waiting = _Waiting(append)
        self._waiting.append(waiting)
        self._wake.set()
        return await waiting.outcome

    async def by_itself(self, appends: Sequence[Append], write: Write) -> list[Outcome]:
        """Record these with `write`, apart from all that waits, and after a lost connection the same again; raises OutcomeUnknown."""
        return await self._send(list(appends), write)

    async def _run(self) -> None:
        while self._waiting or not self._closing:
            if not self._waiting:
                self._wake.clear()
                await self._wake.wait()
                continue
            batch = self._next_batch(self._share())
            self._calls += 1
            try:
                await self._record(batch)
            finally:
                self._calls -= 1

    def _share(self) -> int:
        """How many appends to take: all, but half of many when no call is under way, so that two calls take turns."""
        waiting = len(self._waiting)
        return waiting if self._calls or waiting < WORTH_HALVING else waiting // 2

    def _next_batch(self, most: int) -> list[_Waiting]:
        """The longest-waiting appends that do not depend on one before them, within bounds; the rest keep their order."""
        batch: list[_Waiting] = []
        later: list[_Waiting] = []
        brought: set[object] = set()
        events = size = 0
        while self._waiting and len(batch) < most and len(later) < MOST_EVENTS:
            first = self._waiting[0]
            events += len(first.append.events)
            size += first.size
            if batch and (events > MOST_EVENTS or size > MOST_BYTES):
                break
            self._waiting.popleft()
            (batch if brought.isdisjoint(first.needs) else later).append(first)
            brought |= first.brings
        self._waiting.extendleft(reversed(later))
        return batch

    async def _record(self, batch: list[_Waiting]) -> None:
        """Settle every append of the batch; if the database refuses the batch, each of them alone."""
        try:
            outcomes = await self._send([waiting.append for waiting in batch])
        except OutcomeUnknown as error:
            outcomes = [OutcomeUnknown(*error.args) for _ in batch]
        except Exception as error:  # noqa: BLE001  whatever went wrong belongs to the callers, and the writer goes on
            if len(batch) > 1:
                for waiting in batch:
                    await self._record([waiting])
                return
            outcomes = [error]
        for waiting, outcome in zip(batch, outcomes, strict=True):
            waiting.settle(outcome)

    async def _send(self, appends: list[Append], write: Write | None = None) -> list[Outcome]:
        """Write, and after a lost connection write the same again: what was recorded is then a repeat."""
        try:
            async for attempt in stamina.retry_context(
                on=LOST, attempts=None, timeout=self._patience, wait_initial=0.05, wait_max=1.0
            ):
                with attempt, self._seconds.time():
                    outcomes = await (write or self._write)(appends)
        except LOST as error:
            raise OutcomeUnknown("the database did not answer in time") from error
        self._batches.inc()
        self._events.inc(sum(len(append.events) for append in appends))
        return outcomes
