"""The tail of a park's log in one process: read once, however many follow it.

Readers have no queue of their own. Each remembers its position and takes what lies behind it from one bounded ring of pages; who is too slow
for the ring reads the log, a page at a time and in turn with all others like him. So nobody who is slow or gone holds a connection, or makes anything grow.
"""

import asyncio
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, Final

import structlog
from prometheus_client import Gauge

from services.core.backoff import Backoff
from services.core.log import Log
from services.core.pool import LOST, Pool
from services.core.projection import Change
from services.core.settings import STREAMS_PER_KEY
from services.reading.followers import Follower, Followers
from services.reading.pages import Page
from services.reading.places import Places
from services.reading.shelf import Shelf

PACE: Final = 0.2
"""Seconds between two pages at least, for few readers: under load each then carries more."""
SHARE: Final = 0.004
"""Seconds more for each reader, since a page costs each of them one message: all together are sent 250 a second at most, up to some hundreds of them."""
SLOWEST: Final = 2.0
"""Seconds between two pages for any number of readers."""
LASTS: Final = 0.6
"""Seconds after which the log is looked at though nothing was heard."""
MOST: Final = 2000
"""Events of a page."""
RING: Final = 8_000_000
"""Bytes of lines that are kept at hand."""
FRESH: Final = 4.0
"""Seconds after a look at the log for which it counts as readable."""
READERS = Gauge("fieldledger_reading_readers", "Streams of events that are open", ["park"])
_logger = structlog.get_logger()


class Tail:
    """Idle while nobody follows."""

    def __init__(self, log: Log, pool: Pool, streams_per_key: int = STREAMS_PER_KEY) -> None:
        self.epoch = 0
        self.position = 0
        """Of the newest page. Nothing behind it has been read yet."""
        self.shelf = Shelf(log)
        self.places = Places(log, pool)
        self.followers = Followers(pool, log.park, self._tell, streams_per_key)
        self.moved = asyncio.Event()
        self._log = log
        self._ring: deque[Page] = deque()
        self._size = 0
        self._looked = float("-inf")
        self._followed = asyncio.Event()
        self._stirred = asyncio.Event()
        self._streams = 0

    def hear(self, _: Change[Any]) -> None:
        """Something was recorded."""
        self._stirred.set()

    @property
    def fresh(self) -> bool:
        """Whether the log could be read just now."""
        return time.monotonic() - self._looked < FRESH

    @contextmanager
    def following(self, reader: Follower) -> Iterator[None]:
        """One more stream for the block."""
        self._streams += 1
        READERS.labels(self._log.park).inc()
        self._followed.set()
        try:
            with self.followers.following(reader):
                yield
        finally:
            READERS.labels(self._log.park).dec()
            self._streams -= 1
            if not self._streams:
                self._followed.clear()

    async def behind(self, position: int) -> Page | None:
        """The page in which what lies behind a position is found; None where nothing does yet. Raises what a lost database raises."""
        if position >= self.position:
            return None
        if not self._ring or position < self._ring[0].first - 1:
            return await self.shelf.after(position)
        return next(page for page in reversed(self._ring) if page.first <= position + 1)

    async def run(self) -> None:
        """Keep the ring up to date for ever, whenever somebody follows."""
        backoff = Backoff()
        while True:
            await self._followed.wait()
            try:
                await self._look()
            except LOST as error:
                _logger.warning("reading along waits for the database", park=self._log.park, why=repr(error))
                await asyncio.sleep(backoff.failed())
                continue
            backoff.succeeded()
            await asyncio.sleep(min(SLOWEST, PACE + SHARE * self._streams))
            with suppress(TimeoutError):
                async with asyncio.timeout(LASTS):
                    await self._stirred.wait()

    async def _look(self) -> None:
        """Take in what is new; the head first, since it tells of a new life of the log."""
        self._stirred.clear()
        head = await self._log.head()
        if head.epoch != self.epoch or time.monotonic() - self._looked > FRESH:
            self._begin(head.epoch, head.position)
        while rows := await self._log.tail(self.position, MOST):
            page = Page(rows)
            if page.epoch != self.epoch:
                self._begin(page.epoch, rows[0].position - 1)
            self._take(page)
            if len(rows) < MOST:
                break
        self._looked = time.monotonic()
        self._tell()

    def _begin(self, epoch: int, position: int) -> None:
        self.epoch, self.position = epoch, position
        self._ring.clear()
        self._size = 0
        self.shelf.forget()

    def _take(self, page: Page) -> None:
        self._ring.append(page)
        self._size += page.size
        self.position = page.last
        while self._size > RING and len(self._ring) > 1:
            self._size -= self._ring.popleft().size
        self._tell()

    def _tell(self) -> None:
        moved, self.moved = self.moved, asyncio.Event()
        moved.set()
