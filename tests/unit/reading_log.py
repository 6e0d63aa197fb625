"""A log of invented events that can grow, fail, and be cut off and brought back in a new epoch: what reading along asks of a log and a pool."""

from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import msgspec

from contracts import leaf
from contracts.catalogue import TYPES, tags_of
from contracts.envelope import Event
from contracts.games import FieldInspected
from contracts.registration import PersonRegistered
from services.core.reader import Head, Row

AT = datetime(2026, 5, 9, 9, 30, 15, 250000, UTC)


def some_event(number):
    """People and inspections of two fields, in turn."""
    if number % 3:
        return PersonRegistered(person=f"person-{number}", age_band=18)
    return FieldInspected(field="birch" if number % 2 else "alder", passed=True)


class ReadingLog:
    """Also the pool of its own two queries: where an epoch was cut, and whose keys hold."""

    park = "larchmoor"

    def __init__(self):
        self.epoch, self.rows, self.keys, self.cuts = 1, [], {"office": b"k"}, {}
        self.reads, self.away, self.keys_away, self.lent = 0, False, False, 0

    def grow(self, count, make=some_event):
        for _ in range(count):
            position = len(self.rows) + 1
            data = make(position)
            event = Event(
                type=TYPES[type(data)], version=data.VERSION, id=uuid4(), day=AT.date(), occurred_at=AT, claimed_at=None,
                clock="server", device="kiosk-3", device_seq=None, actor=None, tags=tags_of(data),
                data=msgspec.Raw(msgspec.json.encode(data)),
            )  # fmt: skip
            at = AT + timedelta(seconds=position)
            self.rows.append(Row(position, leaf.frame(self.park, self.epoch, position, at, leaf.encode(event))))

    def bring_back(self, position):
        """A backup that ended at `position`, and a new life after it."""
        del self.rows[position:]
        self.epoch += 1
        self.cuts[self.epoch] = position + 1
        self.grow(1)

    async def head(self):
        self._reach()
        return Head(self.epoch, len(self.rows))

    async def tail(self, after, limit=1000):
        self._reach()
        self.reads += 1
        return self.rows[after : after + limit]

    def _reach(self):
        if self.away:
            raise ConnectionError("away")

    @asynccontextmanager
    async def connection(self):
        self._reach()
        self.lent += 1
        try:
            yield self
        finally:
            self.lent -= 1

    async def fetchval(self, _query, _park, epoch):
        return min((first for later, first in self.cuts.items() if later > epoch), default=None)

    async def fetch(self, _query, _park, names):
        if self.keys_away:
            raise ConnectionError("away")
        return [(name, self.keys[name]) for name in names if name in self.keys]
