"""One park's past, read by tag: as it was recorded up to a position, or as it had happened by a moment."""

from collections.abc import Callable, Collection, Iterable
from datetime import datetime, timedelta
from typing import Any, Final

from contracts.envelope import Recorded
from contracts.park import RulesAdopted
from contracts.rules import DEFAULT
from services.audit.moments.corrections import REACHING, as_happened
from services.core.fold import Fold, Given, Subject
from services.core.log import Log, Row
from services.core.recent import recent
from services.core.rules import RULES

TOGETHER: Final = 2000
"""Tags that are read by one query."""
BEGUN_ANEW: Final = frozenset({"park", "field"})
"""Prefixes of tags whose story begins anew with a day: their past is read no further on than anything can be told late."""
Reads = Callable[[Given], Iterable[Subject]]


class Past:
    """States at one point of the past. Events once read are kept, so that another such past can be made of them.

    `known` is the position up to which the log counts. With `happened` the events count that had taken effect by then, in that order.
    """

    def __init__(self, log: Log, known: int, happened: datetime | None = None) -> None:
        self.known = known
        self.happened = happened
        self._log = log
        self._events: dict[str, list[Recorded[Any]]] = {}
        self._late = known

    async def open(self) -> None:
        """Learn how late anything could be told here."""
        if self.happened is None:
            return
        rules = (await self._log.read_at({RULES.tag(""): self.known}))[RULES.tag("")]
        adopted = [event.data.rules for row in rules if isinstance((event := recent(row.leaf)).data, RulesAdopted)]
        late = timedelta(days=max(one.backdate_days for one in (DEFAULT, *adopted)), hours=1)
        self._late = min(self.known, await self._log.position_at(self.happened + late))

    async def load(self, reads: Reads, without: Collection[int] = ()) -> Given:
        """Fold what `reads` names, asking it again until it names no more; `without` leaves some events out."""
        given, read = Given(), set[Subject]()
        wanted = {(RULES, ""), *reads(given)}
        while wanted:
            await self._read({fold.tag(subject) for fold, subject in wanted})
            for fold, subject in wanted:
                given.put((fold, subject), self._state(fold, subject, without))
            read |= wanted
            wanted = set(reads(given)) - read
        return given

    def events(self) -> dict[int, Recorded[Any]]:
        """Every event read so far that counts here, by position."""
        return {event.position: event for story in self._events.values() for event in story}

    def _state(self, fold: Fold[Any], subject: str, without: Collection[int]) -> Any:
        story = self._events[fold.tag(subject)]
        return fold.over(subject, (event for event in story if event.position not in without))

    async def _read(self, tags: Collection[str]) -> None:
        missing = sorted(tag for tag in tags if tag not in self._events)
        for start in range(0, len(missing), TOGETHER):
            some = missing[start : start + TOGETHER]
            untils = {tag: self._late if tag.partition(":")[0] in BEGUN_ANEW else self.known for tag in some}
            found = await self._log.read_at(untils, self.happened, REACHING)
            self._events |= {tag: self._ordered(rows) for tag, rows in found.items()}

    def _ordered(self, rows: Iterable[Row]) -> list[Recorded[Any]]:
        events = [recent(row.leaf) for row in rows]
        return events if self.happened is None else as_happened(events, self.happened)
