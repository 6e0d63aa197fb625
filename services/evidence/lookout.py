"""The lookout: lets nothing be recorded while the log lacks what is known of it outside, until a person has begun a new epoch.

A database that was brought back from a backup would else give positions away that others hold a receipt for.
"""

import asyncio

import structlog

from services.core.bus import Bus
from services.core.log import Head, Log
from services.core.pool import LOST
from services.core.stream import BusUnavailable
from services.evidence.known import ahead, end_of, end_on_bus, last_checkpoint
from services.evidence.outside import Outside, OutsideUnusable

_EVERY = 5.0
_PATIENCE = 2.0
"""Seconds that a bus which hangs is waited for."""
_logger = structlog.get_logger()


class Lookout:
    """Looks after one park's log in one process."""

    def __init__(self, log: Log, outside: Outside, bus: Bus | None) -> None:
        self._log = log
        self._outside = outside
        self._bus = bus
        self._asking: asyncio.Task[Head | None] | None = None
        self._known = Head(0, 0)

    async def run(self) -> None:
        """Look for ever. Ends only when cancelled."""
        while True:
            await asyncio.sleep(_EVERY)
            try:
                await self.look()
            except LOST as error:
                _logger.info("log not looked after", park=self._log.park, why=repr(error))

    async def look(self) -> None:
        """Open or close the log for recording. What is known is asked first: it never runs ahead of a log that is whole."""
        for one in (await self._checkpoint(), await self._stream()):
            if one is not None and ahead(one, self._known):
                self._known = one
        head = await self._log.head()
        behind = self._sentence(head) if ahead(self._known, head) else ""
        if behind != self._log.behind:
            (_logger.error if behind else _logger.info)("log", park=self._log.park, behind=behind)
        self._log.behind = behind

    def _sentence(self, head: Head) -> str:
        return (
            f"Nothing is recorded and nobody is cleared now: the log of {self._log.park} ends at position {head.position} of epoch {head.epoch}, but outside "
            f"the database it is known up to position {self._known.position} of epoch {self._known.epoch}. If the database was brought "
            "back from a backup, a new epoch is begun by: fieldledger restore. Keep what you have and send it again then."
        )

    async def _checkpoint(self) -> Head | None:
        try:
            last = await asyncio.to_thread(last_checkpoint, self._outside, self._log.park)
        except OutsideUnusable:  # the signer says so
            return None
        return None if last is None else end_of(last)

    async def _stream(self) -> Head | None:
        """Where the stream ends, unless the bus is away; one that hangs is waited for beside."""
        if self._bus is None:
            return None
        if self._asking is None:
            self._asking = asyncio.create_task(end_on_bus(self._bus, self._log.park))
        await asyncio.wait({self._asking}, timeout=_PATIENCE)
        if not self._asking.done():
            return None
        asked, self._asking = self._asking, None
        try:
            return asked.result()
        except BusUnavailable:
            return None
