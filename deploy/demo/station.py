"""A device of the invented park: the client package as anybody would use it, with the day's clock and seed in place of its own."""

from datetime import timedelta
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import httpx
import msgspec
from msgspec import Struct

from contracts.client import AsyncPark, Queue
from contracts.envelope import Command
from contracts.problems import Refused
from deploy.demo.clock import RunningClock

VERSION = "invented-1"
"""What a station says of its own program."""
PACE = timedelta(seconds=0.2)
"""What one touch takes on the day's clock."""


class DemoError(Exception):
    """The day did not go as it was written."""


class Station:
    """Sends commands one at a time. Unplugged, it keeps facts on its disk with the time at which they happened, and sends them later."""

    def __init__(self, http: httpx.AsyncClient, park: str, key: str, clock: RunningClock, random: Random) -> None:
        self._park = AsyncPark("", park, key, clock=clock, random=random, version=VERSION, http=http)
        self._clock = clock
        self._random = random
        self._disk: TemporaryDirectory[str] | None = None
        self._kept: Queue | None = None

    async def do(self, command: Command, actor: str | None = None) -> dict[str, Any]:
        """Send a command that must be granted; its receipt."""
        status, answer = await self.ask(command, actor)
        if status != httpx.codes.CREATED:
            raise DemoError(f"{type(command).__name__} was answered {status}: {msgspec.json.encode(answer).decode()}")
        return answer

    async def ask(self, command: Command, actor: str | None = None) -> tuple[int, dict[str, Any]]:
        """Send a command that may be refused; the status and the answer."""
        self._clock.advance(PACE)
        try:
            receipt = await self._park.do(command, actor)
        except Refused as refused:
            return refused.status, msgspec.to_builtins(refused.extensions["problem"])
        return httpx.codes.CREATED, msgspec.to_builtins(receipt)

    async def question(self, path: str, body: Struct) -> dict[str, Any]:
        """Ask something that is too long for a query; nothing is recorded."""
        answer: dict[str, Any] = await self._park.question(path, body)
        return answer

    async def have_signed(self) -> None:
        """Have a checkpoint signed over all that was recorded so far."""
        await self._park.question("evidence/checkpoint", answer=str)

    def unplug(self) -> None:
        """Go out of reach of the network."""
        self._disk = TemporaryDirectory(prefix="fieldledger-device-")
        self._kept = Queue(Path(self._disk.name) / "facts", clock=self._clock, random=self._random)

    def keep(self, command: Command) -> None:
        """Record a fact while out of reach."""
        if self._kept is None:
            raise DemoError("this station is in reach: it sends at once")
        self._clock.advance(PACE)
        self._kept.put(command)

    async def deliver(self) -> None:
        """Back in reach: send what was kept, in order, each with the time at which it happened."""
        if self._kept is None or self._disk is None:
            return
        await self._park.send(self._kept)
        if self._kept.refused():
            raise DemoError(f"kept for a person: {self._kept.refused()}")
        self._kept.close()
        self._disk.cleanup()
        self._kept = self._disk = None
