"""The pages of a log that readers who lag behind are given: few at a time, whoever asks, so that the park's own work goes first."""

import asyncio
import time
from collections import OrderedDict
from typing import Final

from services.core.log import Log
from services.reading.pages import Page

PAGE: Final = 256
"""Events of a page."""
_KEPT: Final = 16
_REST: Final = 0.02
"""Seconds between two pages read from the database, whoever they are for."""


class Shelf:
    """Reads one page at a time. Who asks for a page that somebody is waiting for waits with him; whoever goes meanwhile breaks nothing off."""

    def __init__(self, log: Log) -> None:
        self._log = log
        self._pages: OrderedDict[int, asyncio.Task[Page | None]] = OrderedDict()
        self._turn = asyncio.Lock()
        self._next = 0.0

    async def after(self, position: int) -> Page | None:
        """The page behind a position; None at the end of the log. Raises what a lost database raises."""
        reading = self._pages.get(position)
        if reading is None:
            reading = self._pages[position] = asyncio.create_task(self._read(position))
            reading.add_done_callback(lambda done: self._keep(position, done))
        return await asyncio.shield(reading)

    def forget(self) -> None:
        """The log has begun another life: what is kept may be no part of it."""
        self._pages.clear()

    def _keep(self, position: int, done: asyncio.Task[Page | None]) -> None:
        """Only a full page is the same for ever."""
        page = None if done.cancelled() or done.exception() else done.result()
        if (page is None or len(page.lines) < PAGE) and self._pages.get(position) is done:
            del self._pages[position]
        for old in [key for key, task in self._pages.items() if task.done()][:-_KEPT]:
            del self._pages[old]

    async def _read(self, position: int) -> Page | None:
        async with self._turn:
            await asyncio.sleep(max(0.0, self._next - time.monotonic()))
            rows = await self._log.tail(position, PAGE)
            self._next = time.monotonic() + _REST
        return Page(rows) if rows else None
