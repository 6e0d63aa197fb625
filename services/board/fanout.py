"""Fan-out: one status at a time to any number of readers, each at its own pace, as server-sent events.

Readers have no queue of their own: each remembers the id of what it was sent last and takes what came after it from one bounded buffer.
Who is too slow for the buffer gets the whole status again, and nobody else waits.
"""

import asyncio
import time
from collections import deque
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from typing import Any, Final

import msgspec
from msgspec import Struct

from contracts.board import Status
from services.board.merge import Document, difference

BUFFERED: Final = 256
BEAT_SECONDS: Final = 5.0
_HELLO: Final = b"retry: 2000\n\n"
_encode = msgspec.json.Encoder().encode


class Message(Struct, frozen=True):
    """What turned the status before it into the one of its id."""

    id: str
    frame: bytes


def frame(event: str, data: Any, name: str | None = None) -> bytes:
    """One server-sent event. JSON has no line breaks of its own."""
    head = f"event: {event}\n" + (f"id: {name}\n" if name else "")
    return head.encode() + b"data: " + _encode(data) + b"\n\n"


class Channel:
    """The newest status, and how the last ones became it."""

    def __init__(self) -> None:
        self.readers = 0
        self._document: Document = {}
        self._snapshot = b""
        self._messages: deque[Message] = deque(maxlen=BUFFERED)
        self._number = time.time_ns() // 1_000_000
        """Goes up with each message, and begins higher in every process: an id means one status only."""
        self._moved = asyncio.Event()
        self._closed = False

    def close(self) -> None:
        """The process ends: every reader's stream does, and it asks for another."""
        self._closed = True
        self._moved.set()

    def publish(self, status: Status) -> None:
        """Tell every reader what is new in a status; nothing, where only its moment is."""
        document: Document = msgspec.to_builtins(status)
        patch = difference(self._document, document)
        if not patch.keys() - {"as_of"}:
            return
        self._number += 1
        name = f"{status.epoch}:{status.position}:{self._number}"
        self._messages.append(Message(name, frame("patch", patch, name)))
        self._document, self._snapshot = document, frame("snapshot", document, name)
        moved, self._moved = self._moved, asyncio.Event()
        moved.set()

    def since(self, last: str | None) -> tuple[list[bytes], str | None]:
        """What a reader lacks who was sent `last`: the patches since, or the whole status; and the id it is at then."""
        if not self._messages:
            return [], last
        newest = self._messages[-1].id
        after: list[bytes] = []
        for message in reversed(self._messages):
            if message.id == last:
                return after[::-1], newest
            after.append(message.frame)
        return [self._snapshot], newest

    async def follow(self, last: str | None, beat: Callable[[], bytes]) -> AsyncIterator[bytes]:
        """Frames for one reader until it goes, from the Last-Event-ID that it sent; a beat now and every few seconds.

        Nothing in here has to be awaited to end it, so a cancelled reader leaves nothing behind.
        """
        self.readers += 1
        try:
            yield _HELLO
            due = 0.0
            while not self._closed:
                moved = self._moved
                frames, last = self.since(last)
                for one in frames:
                    yield one
                if time.monotonic() >= due:
                    yield beat()
                    due = time.monotonic() + BEAT_SECONDS
                with suppress(TimeoutError):
                    async with asyncio.timeout(max(0.0, due - time.monotonic())):
                        await moved.wait()
        finally:
            self.readers -= 1
