"""A load of HTTP requests from a process of its own: 64 connections, each sending the next request when the last is answered.

`python -m tests.bench.load PORT KEY SECONDS PREFIX KIND…` prints how many were answered 201, and fails at any other answer.
"""

import asyncio
import sys
import time
from collections.abc import Callable
from itertools import count
from typing import cast
from uuid import uuid4

import uvloop

from tests.bench.ground import PARK

CONNECTIONS = 64
MARKERS = 2_000
_numbers = count()
_run = uuid4().hex[:8]

KINDS: dict[str, Callable[[int], tuple[str, str]]] = {
    "marker": lambda n: ("equipment/register-marker", f'{{"marker":"m-{n}","model":"Heron"}}'),
    "person": lambda n: ("registration/register-person", f'{{"person":"p-{_run}-{n}","age_band":18}}'),
    "test": lambda n: (
        "velocity/test-marker",
        f'{{"test":"t-{_run}-{n}","marker":"m-{n * 7919 % MARKERS}","chrono":"bench-1","readings_fps":[271.0,274.0,269.5],"sealed":true}}',
    ),
    "chrono": lambda _: ("velocity/register-chrono", '{"chrono":"bench-1"}'),
}


class Caller(asyncio.Protocol):
    """One connection. Its answers are small: each comes whole, and its first line says how it went."""

    def __init__(self, load: "Load") -> None:
        self._load = load
        self._transport: asyncio.WriteTransport | None = None
        self._got = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast("asyncio.WriteTransport", transport)  # uvloop's is none by its class
        self._send()

    def _send(self) -> None:
        request = self._load.next()
        if request is None:
            self._load.ended()
        elif self._transport is not None:
            self._transport.write(request)

    def data_received(self, data: bytes) -> None:
        self._got += data
        head, found, body = self._got.partition(b"\r\n\r\n")
        if not found or len(body) < int(head.lower().partition(b"content-length: ")[2].split(b"\r\n")[0]):
            return
        self._got = b""
        self._load.answered(head, body)
        self._send()


class Load:
    """What is sent, until the time is over or `most` requests have been; and what came of it."""

    def __init__(self, key: str, prefix: str, kinds: list[str], seconds: float, most: int | None) -> None:
        self._until = time.perf_counter() + seconds
        self._most = most
        self._key, self._prefix, self._kinds = key, prefix, kinds
        self._open = CONNECTIONS
        self.done = 0
        self.over: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    def next(self) -> bytes | None:
        number = next(_numbers)
        if time.perf_counter() >= self._until or (self._most is not None and number >= self._most):
            return None
        path, body = KINDS[self._kinds[number % len(self._kinds)]](number)
        return (
            f"POST /parks/{PARK}/{self._prefix}{path} HTTP/1.1\r\nHost: park\r\nAuthorization: Bearer {self._key}\r\n"
            f'Idempotency-Key: "{uuid4()}"\r\nContent-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n{body}'
        ).encode()

    def answered(self, head: bytes, body: bytes) -> None:
        if not head.startswith(b"HTTP/1.1 201 ") and not self.over.done():
            self.over.set_exception(RuntimeError(f"{head[:40]!r} {body[:300]!r}"))
        self.done += 1

    def ended(self) -> None:
        self._open -= 1
        if self._open == 0 and not self.over.done():
            self.over.set_result(None)


async def main(port: int, key: str, seconds: float, prefix: str, kinds: list[str]) -> None:
    most = {"marker": MARKERS, "chrono": 1}.get(kinds[0])
    begun = time.perf_counter()
    load = Load(key, prefix, kinds, seconds, most)
    loop = asyncio.get_running_loop()
    for _ in range(CONNECTIONS):
        await loop.create_connection(lambda: Caller(load), "127.0.0.1", port)
    await load.over
    sys.stdout.write(f"{load.done / (time.perf_counter() - begun)}\n")


if __name__ == "__main__":
    _, at, device_key, lasting, before, *wanted = sys.argv
    uvloop.run(main(int(at), device_key, float(lasting), before, wanted))
