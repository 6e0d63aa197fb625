"""A device as it is on the ground: it keeps what it sends until that is acknowledged, and sends the same again until it is."""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from itertools import count
from uuid import uuid4

import httpx


@dataclass
class Handheld:
    """Sends one request after the other, each with its Idempotency-Key and the device's own dense number."""

    http: httpx.AsyncClient
    park: str
    name: str
    key: str
    acknowledged: list = field(default_factory=list)
    """A receipt for each request, in the order of sending."""
    retries: int = 0

    async def work(self, stop):
        """A person, his waiver, his marker and its test, a hold: commands and facts, until `stop` is set."""
        for number in count():
            who, marker, hold = f"{self.name}-p{number}", f"{self.name}-m{number}", f"{self.name}-h{number}"
            for path, body in (
                ("registration/register-person", {"person": who, "age_band": 18}),
                ("registration/sign-waiver", {"person": who, "wording": "w1"}),
                ("equipment/register-marker", {"marker": marker, "model": "Heron"}),
                (
                    "velocity/test-marker",
                    {"test": marker, "marker": marker, "chrono": "k1", "readings_fps": [270, 271, 272]},
                ),
                ("games/ask-hold", {"hold": hold, "field": "birch", "cause": "other"}),
                ("games/lift-hold", {"hold": hold, "field": "birch", "swept": True}),
            ):
                await self.send(path, body)
                if stop.is_set():
                    return

    async def send(self, path, body):
        """The receipt, however often it takes to get one."""
        headers = {
            "Authorization": f"Bearer {self.key}",
            "Idempotency-Key": f'"{uuid4()}"',
            "Device-Seq": str(len(self.acknowledged) + 1),
        }
        while True:
            try:
                answer = await self.http.post(f"/parks/{self.park}/{path}", json=body, headers=headers)
            except httpx.HTTPError:
                answer = None
            if answer is not None and answer.status_code == httpx.codes.CREATED:
                self.acknowledged.append(answer.json())
                return
            assert answer is None or answer.status_code == 503 or answer.json()["type"] == "/problems/contended", (
                answer.text
            )
            self.retries += 1
            await asyncio.sleep(0.1)


async def patiently(seconds: float = 60) -> AsyncIterator[None]:
    """Look again and again, ten times a second; TimeoutError when it takes too long."""
    for _ in range(int(seconds * 10)):
        yield
        await asyncio.sleep(0.1)
    raise TimeoutError
