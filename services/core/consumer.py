"""A consumer: pulls a stream's messages in order from the bus, each at least once."""

import asyncio
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import msgspec
from nats.aio.client import Client
from nats.aio.msg import Msg
from nats.errors import Error as NatsError

from services.core.log import Row
from services.core.stream import BATCH, BusUnavailable

_PULL_SECONDS = 5.0


@contextmanager
def translated() -> Iterator[None]:
    """Turn the client's errors into BusUnavailable."""
    try:
        yield
    except (NatsError, OSError, TimeoutError) as error:
        raise BusUnavailable(f"{type(error).__name__}: {error}") from error


class Consumer:
    """One bounded pull under way, asked again when it has been served or has ended.

    The client's own `fetch` waits out its time-out for a full batch, or leaves pulls behind that swallow messages.
    """

    def __init__(self, client: Client, pull_subject: str) -> None:
        self._client = client
        self._pull_subject = pull_subject
        self._inbox = client.new_inbox()
        self._arrived: deque[Msg] = deque()
        self._arrival = asyncio.Event()
        self._due = 0
        self._pull_ends = 0.0
        self._last: Msg | None = None
        self._gone = False

    async def open(self) -> None:
        self._subscription = await self._client.subscribe(self._inbox, cb=self._receive)

    async def close(self) -> None:
        with suppress(NatsError, OSError, TimeoutError):
            await self._subscription.unsubscribe()

    async def _receive(self, message: Msg) -> None:
        status = (message.headers or {}).get("Status") if not message.data else None
        if status is None:
            self._due -= 1
            self._arrived.append(message)
        else:
            self._due = 0
            self._gone = self._gone or "Deleted" in (message.headers or {}).get("Description", "")
        self._arrival.set()

    async def fetch(self, wait: float) -> list[Row]:
        """What has arrived, at most BATCH and in order; empty when nothing has within `wait` seconds."""
        if not self._arrived:
            await self._pull()
            self._arrival.clear()
            with suppress(TimeoutError):
                async with asyncio.timeout(wait):  # wait_for can swallow a cancellation before Python 3.12
                    await self._arrival.wait()
        if self._gone or not self._client.is_connected:
            raise BusUnavailable("the reader or its connection is gone")
        messages = [self._arrived.popleft() for _ in range(min(BATCH, len(self._arrived)))]
        if messages:
            self._last = messages[-1]
        return [Row(message.metadata.sequence.stream, message.data) for message in messages]

    async def _pull(self) -> None:
        if self._due > 0 and time.monotonic() < self._pull_ends:
            return
        order = {"batch": BATCH, "expires": int(_PULL_SECONDS * 1e9)}
        with translated():
            await self._client.publish(self._pull_subject, msgspec.json.encode(order), reply=self._inbox)
        self._due, self._pull_ends = BATCH, time.monotonic() + _PULL_SECONDS + 1

    async def acknowledge(self) -> None:
        """Tell the server that everything fetched so far is dealt with."""
        if self._last is not None:
            with translated():
                await self._last.ack()
            self._last = None
