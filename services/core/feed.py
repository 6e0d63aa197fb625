"""The feed: new rows as the bus delivers them, and nothing while it is silent or down."""

import asyncio
import time
from contextlib import suppress

import structlog

from services.core.backoff import Backoff
from services.core.bus import Bus
from services.core.consumer import Consumer
from services.core.log import Log, Row
from services.core.stream import BusUnavailable, Stream

_IDLE = 0.5
_logger = structlog.get_logger()


class Feed:
    """One process's durable reader of a park's stream. Without a bus it stays silent, and its reader lives on the log."""

    def __init__(self, log: Log, bus: Bus | None, reader: str) -> None:
        self._log = log
        self._bus = bus
        self._reader = reader
        self._consumer: Consumer | None = None
        self._attaching: asyncio.Task[tuple[Consumer, int]] | None = None
        self.epoch = 0
        """Of the stream that it reads, or read last."""
        self._backoff = Backoff()
        self._try_at = 0.0

    @property
    def connected(self) -> bool:
        return self._consumer is not None

    async def rows(self, after: int) -> list[Row]:
        """The next rows; empty after half a second without any. A new reader begins behind `after`."""
        try:
            if (consumer := await self._attached(after)) is not None:
                return await consumer.fetch(_IDLE)
            if self._attaching is not None:
                return []
        except BusUnavailable as error:
            await self._lost(error)
        await asyncio.sleep(_IDLE)
        return []

    async def _attached(self, after: int) -> Consumer | None:
        """The reader, once there is one. A bus that is slow to answer, or hangs, is waited for beside the reading of the log."""
        if self._consumer is None and self._bus is not None and time.monotonic() >= self._try_at:
            if self._attaching is None:
                self._attaching = asyncio.create_task(self._attach(self._bus, after))
            await asyncio.wait({self._attaching}, timeout=_IDLE)
            if self._attaching.done():
                attached, self._attaching = self._attaching, None
                self._consumer, self.epoch = attached.result()
                self._backoff.succeeded()
                _logger.info("feed connected", park=self._log.park, reader=self._reader, epoch=self.epoch)
        return self._consumer

    async def _attach(self, bus: Bus, after: int) -> tuple[Consumer, int]:
        epoch = (await self._log.head()).epoch
        return await bus.consume(Stream(self._log.park, epoch), self._reader, after), epoch

    async def _lost(self, error: BusUnavailable) -> None:
        if self._consumer is not None:
            _logger.warning("feed lost", park=self._log.park, reader=self._reader, why=str(error))
        await self.close()
        self._try_at = time.monotonic() + self._backoff.failed()

    async def expect(self, epoch: int) -> None:
        """Leave the stream of an epoch that has ended."""
        if self._consumer is not None and epoch != self.epoch:
            await self.close()

    async def acknowledge(self) -> None:
        """Tell the bus that what it delivered is dealt with. Should it not hear, it delivers again, and that is skipped."""
        if self._consumer is not None:
            with suppress(BusUnavailable):
                await self._consumer.acknowledge()

    async def close(self) -> None:
        if self._attaching is not None:
            attaching, self._attaching = self._attaching, None
            attaching.cancel()
            await asyncio.wait({attaching}, timeout=_IDLE)
        if self._consumer is not None:
            await self._consumer.close()
            self._consumer = None
