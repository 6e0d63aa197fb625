"""A log in memory that keeps the promises of the real one, so that a `Park` can be run without a database, step by step."""

from collections import defaultdict
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any

from contracts import leaf
from contracts.envelope import Recorded
from services.core.append import Append, Appended, Condition, Conflict, Request, RequestReused
from services.core.clock import Clock
from services.core.reader import Head, Reading, Row

EPOCH = 1


class MemoryLog:
    """Appends all or nothing, repeats by request, conflicts by tag and type. Nothing here decodes what it was handed.

    `meanwhile` is run once, between what a command has read and the append that rests on it: as if another station had been quicker.
    """

    def __init__(self, park: str, clock: Clock) -> None:
        self.park = park
        self.behind = ""
        self.meanwhile: Callable[[], Awaitable[Any]] | None = None
        self.rows: list[Row] = []
        self._clock = clock
        self._tagged: defaultdict[str, list[tuple[Row, str]]] = defaultdict(list)
        self._answered: dict[Any, tuple[Request, Appended]] = {}

    def copy(self, clock: Clock) -> "MemoryLog":
        """Another log that begins with all that this one holds."""
        made = MemoryLog(self.park, clock)
        made.rows = list(self.rows)
        made._tagged.update({tag: list(rows) for tag, rows in self._tagged.items()})
        made._answered = dict(self._answered)
        return made

    def events(self, after: int = 0) -> list[Recorded[Any]]:
        return [leaf.decode(row.leaf) for row in self.rows[after:]]

    async def read(self, wanted: Mapping[str, int]) -> Reading:
        events = {tag: [row for row, _ in self._tagged[tag] if row.position > after] for tag, after in wanted.items()}
        return Reading(Head(EPOCH, len(self.rows)), events)

    async def append(self, append: Append) -> Appended:
        meanwhile, self.meanwhile = self.meanwhile, None
        if meanwhile is not None:
            await meanwhile()
        known = await self.recall(append.request)
        if known is not None:
            return known
        for one in append.conditions:
            if any(
                row.position > one.after and (not one.types or type_ in one.types)
                for row, type_ in self._tagged[one.tag]
            ):
                raise Conflict(one.tag)
        now, first = self._clock.now(), len(self.rows) + 1
        for position, draft in enumerate(append.events, first):
            row = Row(position, leaf.frame(self.park, EPOCH, position, now, draft.body))
            self.rows.append(row)
            for tag in draft.tags:
                self._tagged[tag].append((row, draft.type))
        appended = Appended(EPOCH, first, len(self.rows), now, repeat=False)
        self._answered[append.request.id] = (append.request, appended)
        return appended

    async def append_in_order(self, appends: Sequence[Append]) -> list[Any]:
        """Conditions are on what was there before the first of them."""
        before, outcomes = len(self.rows), list[Any]()
        for one in appends:
            if any(self._newer(condition, before) for condition in one.conditions):
                return [*outcomes, Conflict(one.conditions[0].tag)]
            try:
                outcomes.append(await self.append(Append(one.request, one.events)))
            except RequestReused as error:
                return [*outcomes, error]
            if outcomes[-1].repeat:
                break
        return outcomes

    def _newer(self, condition: Condition, until: int) -> bool:
        return any(
            condition.after < row.position <= until and (not condition.types or type_ in condition.types)
            for row, type_ in self._tagged[condition.tag]
        )

    async def recall_all(self, requests: Sequence[Request]) -> list[Appended | RequestReused | None]:
        found: list[Appended | RequestReused | None] = []
        for one in requests:
            try:
                found.append(await self.recall(one))
            except RequestReused as error:
                found.append(error)
        return found

    async def at(self, positions: Sequence[int]) -> list[Row]:
        return [self.rows[position - 1] for position in sorted(positions)]

    async def recall(self, request: Request) -> Appended | None:
        if request.id not in self._answered:
            return None
        first, appended = self._answered[request.id]
        if first != request:
            raise RequestReused("this id was used for another request")
        return Appended(appended.epoch, appended.first, appended.last, appended.recorded_at, repeat=True)

    async def between(self, first: int, last: int) -> list[Row]:
        return self.rows[first - 1 : last]
