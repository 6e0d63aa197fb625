"""A network between a device and its park that passes so many bytes, counted both ways, and then fails at that very byte."""

import asyncio
import socket
import struct
from collections.abc import Callable
from contextlib import suppress
from typing import Self

AT_ONCE = struct.pack("ii", 1, 0)
"""SO_LINGER: the connection is reset, and what lies in its buffers is lost."""


class TornNetwork:
    """`allowance()` is asked for the bytes of each connection, None without end; `fails` is called where they are used up, and says whether the connection is torn too."""

    def __init__(self, port: int, allowance: Callable[[], int | None], fails: Callable[[], bool]) -> None:
        self._port, self._allowance, self._fails = port, allowance, fails
        self.port = 0

    async def __aenter__(self) -> Self:
        self._server = await asyncio.start_server(self._connected, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *how: object) -> None:
        self._server.close()

    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            there, thither = await asyncio.open_connection("127.0.0.1", self._port)
        except OSError:
            writer.transport.abort()
            return
        left = [self._allowance()]
        ends = {asyncio.ensure_future(self._pump(*way, left)) for way in ((reader, thither), (there, writer))}
        await asyncio.wait(ends, return_when=asyncio.FIRST_COMPLETED)
        for end in ends:
            end.cancel()
        for one in (writer, thither):
            with suppress(OSError):
                one.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, AT_ONCE)
            one.transport.abort()

    async def _pump(self, source: asyncio.StreamReader, sink: asyncio.StreamWriter, left: list[int | None]) -> None:
        with suppress(OSError):
            while piece := await source.read(4096):
                if left[0] is None:
                    sink.write(piece)
                    await sink.drain()
                    continue
                passed = piece[: left[0]]
                left[0] -= len(passed)
                sink.write(passed)
                await sink.drain()
                if left[0] == 0:
                    if self._fails():
                        return
                    left[0] = None
