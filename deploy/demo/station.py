"""A device of the invented park: it speaks to the API over HTTP and nothing else, with a key of its own."""

from datetime import datetime, timedelta
from random import Random
from typing import Any
from uuid import UUID

import httpx
import msgspec
from msgspec import Struct

from contracts.catalogue import COMMANDS
from contracts.envelope import Command
from deploy.demo.clock import RunningClock

PATHS = {command: path for path, command in COMMANDS.items()}
PACE = timedelta(seconds=0.2)
"""What one touch takes on the day's clock."""


class DemoError(Exception):
    """The day did not go as it was written."""


class Station:
    """Sends commands one at a time. Unplugged, it keeps facts with the time at which they happened and sends them later."""

    def __init__(self, http: httpx.AsyncClient, park: str, key: str, clock: RunningClock, random: Random) -> None:
        self._http = http
        self._park = park
        self._headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}
        self._clock = clock
        self._random = random
        self._kept: list[tuple[Command, datetime]] | None = None
        self._sent = 0

    async def do(self, command: Command, actor: str | None = None) -> dict[str, Any]:
        """Send a command that must be granted; its receipt."""
        status, answer = await self.ask(command, actor)
        if status != httpx.codes.CREATED:
            raise DemoError(f"{type(command).__name__} was answered {status}: {msgspec.json.encode(answer).decode()}")
        return answer

    async def ask(self, command: Command, actor: str | None = None) -> tuple[int, dict[str, Any]]:
        """Send a command that may be refused; the status and the answer."""
        self._clock.advance(PACE)
        self._sent += 1
        response = await self._http.post(
            f"/parks/{self._park}/{PATHS[type(command)]}",
            content=msgspec.json.encode(command),
            headers=self._headers
            | {
                "Idempotency-Key": f'"{self._key()}"',
                "Device-Time": self._clock.now().isoformat(),
                "Device-Seq": str(self._sent),
            }
            | ({"Actor": actor} if actor else {}),
        )
        return response.status_code, response.json()

    async def question(self, path: str, body: Struct) -> dict[str, Any]:
        """Ask something that is too long for a query; nothing is recorded."""
        response = await self._http.post(
            f"/parks/{self._park}/{path}", content=msgspec.json.encode(body), headers=self._headers
        )
        if response.status_code != httpx.codes.OK:
            raise DemoError(f"{path} was answered {response.status_code}: {response.text}")
        answer: dict[str, Any] = response.json()
        return answer

    async def have_signed(self) -> None:
        """Have a checkpoint signed over all that was recorded so far."""
        response = await self._http.post(f"/parks/{self._park}/evidence/checkpoint", headers=self._headers)
        if response.status_code != httpx.codes.OK:
            raise DemoError(f"no checkpoint was signed: {response.text}")

    def unplug(self) -> None:
        """Go out of reach of the network."""
        self._kept = []

    def keep(self, command: Command) -> None:
        """Record a fact while out of reach."""
        if self._kept is None:
            raise DemoError("this station is in reach: it sends at once")
        self._clock.advance(PACE)
        self._kept.append((command, self._clock.now()))

    async def deliver(self) -> None:
        """Back in reach: send what was kept, in order, each with the time at which it happened."""
        kept, self._kept = self._kept or [], None
        for command, happened in kept:
            await self.do(msgspec.structs.replace(command, occurred_at=happened))

    def _key(self) -> UUID:
        """A UUIDv7 by the day's clock and the seed (RFC 9562 §5.7)."""
        millis = int(self._clock.now().timestamp() * 1000)
        bits = self._random.getrandbits(74)
        return UUID(int=millis << 80 | 7 << 76 | (bits >> 62) << 64 | 2 << 62 | bits & (1 << 62) - 1)
