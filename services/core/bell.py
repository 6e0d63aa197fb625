"""The bell: whoever waits for something new about a subject is woken when the read tables have taken it in, in whatever process it was recorded."""

import asyncio
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from services.core.projection import Change


class Waiter:
    """One who waits for what lies behind a position."""

    def __init__(self, after: int) -> None:
        self.after = after
        self.rung = asyncio.Event()


class Bell:
    """Of one park. It costs nothing while nobody waits, and no look at the log while nothing comes."""

    def __init__(self) -> None:
        self._waiting: dict[str, set[Waiter]] = {}
        self._closed = False

    def close(self) -> None:
        """The process ends: nobody waits any longer."""
        self._closed = True
        for waiters in self._waiting.values():
            for waiter in waiters:
                waiter.rung.set()

    def hear(self, change: Change[Any]) -> None:
        """Called after each batch that the projector has taken in."""
        if not self._waiting:
            return
        for event in change.events:
            for tag in event.tags:
                for waiter in self._waiting.get(tag, ()):
                    if event.position > waiter.after:
                        waiter.rung.set()

    @contextmanager
    def listening(self, tags: Iterable[str], after: int) -> Iterator[asyncio.Event]:
        """An event that is set when something with one of these tags comes that lies behind `after`, from now until the end of the block."""
        waiter, tags = Waiter(after), tuple(tags)
        if self._closed:
            waiter.rung.set()
        for tag in tags:
            self._waiting.setdefault(tag, set()).add(waiter)
        try:
            yield waiter.rung
        finally:
            for tag in tags:
                self._waiting[tag].discard(waiter)
                if not self._waiting[tag]:
                    del self._waiting[tag]
