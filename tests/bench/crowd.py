"""Many who read along, in a process of its own: streams of events that are read, and one integrator that never reads.

`python -m tests.bench.crowd PORT KEY READERS` says `ready` once each has been answered, reads until its standard input ends, and prints how many
events the readers that look closely were told each, where they ended, and the bytes that all of them got. It gives way to everybody else: in truth these are other machines.
"""

import asyncio
import os
import socket
import sys
import threading
import zlib
from typing import Any

import msgspec
import uvloop

from tests.bench.ground import PARK

CLOSE = 5
"""Readers that unpack what they get and hold it against the order of the log; the others only take it."""


class Reader(asyncio.Protocol):
    """One stream, as a browser asks for it."""

    def __init__(self, crowd: "Crowd", request: bytes, *, close: bool) -> None:
        self._crowd = crowd
        self._request = request
        self._unpacker = zlib.decompressobj(zlib.MAX_WBITS | 16) if close else None
        self._head: bytes | None = b""
        self._rest = b""
        self._line = b""
        self.bytes = 0
        self.told = 0
        self.position = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        transport.write(self._request)  # type: ignore[attr-defined]

    def data_received(self, data: bytes) -> None:
        if self.bytes == 0:
            self._crowd.answered(data)
        self.bytes += len(data)
        if self._unpacker is not None:
            self._look(data)

    def _look(self, data: bytes) -> None:
        if self._head is not None:
            self._head += data
            _, found, data = self._head.partition(b"\r\n\r\n")
            if not found:
                return
            self._head = None
        self._rest += data
        content = b""
        while b"\r\n" in self._rest:  # chunks of RFC 9112 §7.1
            size, _, after = self._rest.partition(b"\r\n")
            length = int(size, 16)
            if len(after) < length + 2:
                break
            content += self._unpacker.decompress(after[:length])  # type: ignore[union-attr]
            self._rest = after[length + 2 :]
        *lines, self._line = (self._line + content).split(b"\n")  # one that is cut waits for its rest
        for line in lines:
            if line.startswith(b"data: ") and b'"leaf_sha256"' in line:
                self._take(msgspec.json.decode(line[6:])["position"])

    def _take(self, position: int) -> None:
        if self.position and position != self.position + 1:
            self._crowd.broke(f"after {self.position} came {position}")
        self.position = position
        self.told += 1


class Crowd:
    def __init__(self, readers: int) -> None:
        self._waiting = readers
        self.ready: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    def answered(self, data: bytes) -> None:
        if not data.startswith(b"HTTP/1.1 200 "):
            self.broke(repr(data[:200]))
        self._waiting -= 1
        if self._waiting == 0 and not self.ready.done():
            self.ready.set_result(None)

    def broke(self, why: str) -> None:
        sys.stderr.write(f"{why}\n")
        os._exit(1)


def asked(key: str) -> bytes:
    return (
        f"GET /parks/{PARK}/events/stream HTTP/1.1\r\nHost: park\r\nAuthorization: Bearer {key}\r\nAccept-Encoding: gzip\r\n\r\n"
    ).encode()


async def main(port: int, key: str, count: int) -> None:
    crowd, loop = Crowd(count), asyncio.get_running_loop()
    never = socket.create_connection(("127.0.0.1", port))
    never.sendall(asked(key).replace(b"Accept-Encoding: gzip\r\n", b""))
    readers: list[Any] = []
    for number in range(count):
        _, reader = await loop.create_connection(
            lambda number=number: Reader(crowd, asked(key), close=number < CLOSE), "127.0.0.1", port
        )  # type: ignore[misc]
        readers.append(reader)
    await crowd.ready
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    ended = asyncio.Event()
    threading.Thread(target=lambda: (sys.stdin.read(), loop.call_soon_threadsafe(ended.set)), daemon=True).start()
    await ended.wait()
    close = readers[:CLOSE]
    told, position = min(one.told for one in close), min(one.position for one in close)
    sys.stdout.write(f"{told} {position} {min(one.bytes for one in readers)} {sum(one.bytes for one in readers)}\n")
    never.close()


if __name__ == "__main__":
    os.nice(19)
    uvloop.run(main(int(sys.argv[1]), sys.argv[2], int(sys.argv[3])))
