"""One try to hand over a letter: signed, bounded in time and size, and never led elsewhere."""

import asyncio
import time
from collections.abc import Callable
from typing import Final, Self

import httpx
from msgspec import Struct

from contracts.webhooks import ID, SIGNATURE, TIMESTAMP, signature
from services.reading.letters import Letter
from services.reading.seal import Receiver

SECONDS: Final = 15.0
"""In which a receiver must have answered."""
MOST_ANSWER: Final = 16_384
"""Bytes of an answer that are read, and thrown away: they only keep the connection usable."""
_BUSY: Final = frozenset({408, 425, 429})


class Outcome(Struct, frozen=True):
    """How a try went; `why` is empty where the letter was taken. It repeats nothing that the receiver said."""

    why: str = ""
    gone: bool = False
    """The receiver says that it never wants it again."""
    refused: bool = False
    """It was reached and would not take this letter, so patience will hardly help."""


class Post:
    """The connection to one receiver, used for one letter at a time."""

    def __init__(self, receiver: Receiver, clock: Callable[[], float] = time.time, seconds: float = SECONDS) -> None:
        self._receiver = receiver
        self._clock = clock
        self._seconds = seconds
        self._client = httpx.AsyncClient(
            timeout=seconds, follow_redirects=False, trust_env=False, limits=httpx.Limits(max_connections=1)
        )

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._client.aclose()

    async def deliver(self, letter: Letter) -> Outcome:
        """Send a letter once. Only an answer of 2xx takes it."""
        try:
            async with asyncio.timeout(self._seconds):
                return _judged(await self._status(letter))
        except TimeoutError:
            return Outcome(f"did not answer within {self._seconds:g} s")
        except httpx.TimeoutException:
            return Outcome(f"did not answer within {self._seconds:g} s")
        except (
            httpx.HTTPError,
            httpx.InvalidURL,
            OSError,
            ValueError,
        ) as error:  # ValueError: a host that no name can be
            return Outcome(f"cannot be reached ({type(error).__name__})")

    async def _status(self, letter: Letter) -> int:
        async with self._client.stream(
            "POST", self._receiver.url, content=letter.body, headers=self._headers(letter)
        ) as response:
            size = 0
            async for piece in response.aiter_raw():
                size += len(piece)
                if size > MOST_ANSWER:
                    break
            return response.status_code

    def _headers(self, letter: Letter) -> dict[str, str]:
        moment = int(self._clock())
        return {
            "content-type": "application/json",
            "user-agent": "fieldledger",
            ID: letter.id,
            TIMESTAMP: str(moment),
            SIGNATURE: signature(self._receiver.secret, letter.id, moment, letter.body),
        }


def _judged(status: int) -> Outcome:
    if 200 <= status < 300:
        return Outcome()
    if status == 410:
        return Outcome("answered 410: it is gone for good", gone=True)
    if 300 <= status < 400:
        return Outcome(f"answered {status}, and nobody is led elsewhere: name the right address", refused=True)
    return Outcome(f"answered {status}", refused=400 <= status < 500 and status not in _BUSY)
