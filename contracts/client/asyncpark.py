"""The park as a device's program sees it, for asyncio: `park` with `await`, and nothing else."""

from collections.abc import AsyncIterator
from os import PathLike
from types import TracebackType
from typing import Any, Self, TypeVar
from uuid import UUID

import httpx
from msgspec import Struct

from contracts.answers import Receipt
from contracts.clearance import Clearance, FoundPlayer
from contracts.client import wire
from contracts.client.clock import Bits, Clock
from contracts.client.following import QUIET, ParkEvent, Reading, Restored
from contracts.client.keys import read_key
from contracts.client.queue import Queue
from contracts.client.wire import ANSWERS_WITHIN, CUT, PATIENCE, Ask, Wire, attempts, checked, reaching, told
from contracts.envelope import Command
from contracts.passes import PassKeys
from contracts.problems import Refused

T = TypeVar("T")


class AsyncPark:
    """One device's way to its park.

    What passes (no answer, 5xx, others came between) is tried again with the same key for `patience` seconds; then Unreachable or the park's last
    word is raised. Every other refusal is raised at once, as the class of `contracts.problems` that it is.
    """

    def __init__(  # noqa: PLR0913 - each has a default and a name
        self,
        url: str,
        park: str,
        key: str,
        *,
        clock: Clock | None = None,
        random: Bits | None = None,
        version: str = "",
        patience: float = PATIENCE,
        http: httpx.AsyncClient | None = None,
    ) -> None:
        self.wire = Wire(park, key, clock=clock, random=random, version=version)
        self._http = http or httpx.AsyncClient(base_url=url, timeout=ANSWERS_WITHIN)
        self._patience = patience

    @classmethod
    def open(cls, path: str | PathLike[str], **settings: Any) -> Self:
        """The park whose key `enrol` kept in a file."""
        kept = read_key(path)
        return cls(kept.url, kept.park, kept.key, **settings)

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.close()

    async def close(self) -> None:
        await self._http.aclose()

    async def do(self, command: Command, actor: str | None = None, *, key: UUID | None = None) -> Receipt:
        """Ask for something, or tell it; the receipt. `key`: that of a sending whose outcome is not known."""
        ask = self.wire.write(command, actor, key)
        asked = self.wire.clock.now()
        return self.wire.receipt(asked, await self._answer(ask, Receipt))

    async def get(self, path: str, answer: type[T] | Any = Any, **query: object) -> T:
        """What a path below the park's answers, as its type; `str` leaves it as it is."""
        found: T = await self._answer(self.wire.read(path, **query), answer)
        return found

    async def question(self, path: str, body: Struct | None = None, answer: type[T] | Any = Any) -> T:
        """The answer to a question that is too long for a query."""
        found: T = await self._answer(self.wire.question(path, body), answer)
        return found

    async def clearance(self, player: str, field: str, day_pass: str | None = None) -> Clearance:
        """May this player enter this field now, and why not? In doubt it is no: look at him too."""
        return await self.get(f"clearance/players/{wire.segment(player)}", Clearance, field=field, day_pass=day_pass)

    async def player(self, *, day_pass: str | None = None, armband: int | None = None) -> FoundPlayer:
        """Whom a pass, scanned or typed, or an armband names today."""
        return await self.get("registration/players", FoundPlayer, day_pass=day_pass, armband=armband)

    async def pass_keys(self) -> PassKeys:
        """The public keys with which `passes.verify` needs no network."""
        return await self.get("passes/keys", PassKeys)

    async def send(self, queue: Queue) -> None:
        """Send what waits, in its order; returns once nothing does. However it ends, the queue knows how far it came: call it again."""
        queue.bind(self.wire.park, self.wire.device)
        queue.unsure()
        done = False
        with reaching():
            while not done:
                async for attempt in attempts(self._patience):
                    with attempt:
                        done = await self._batch(queue)

    async def _batch(self, queue: Queue) -> bool:
        batch = queue.batch()
        ask = self.wire.batch(batch.content)
        try:
            async with self._http.stream(
                ask.method, ask.path, content=ask.content, headers=self.wire.headers(ask)
            ) as response:
                if response.status_code != httpx.codes.OK:
                    checked(response.status_code, response.headers, await response.aread())
                async for piece in response.aiter_bytes():
                    queue.settle(batch.read(piece))
            end = batch.concluded()
        except (*CUT, Refused):
            queue.unsure()
            if batch.settled:
                return False  # it was cut, but came on: a new try begins
            raise
        return queue.ended(end.epoch, end.signed)

    async def events(
        self, after: str | None = None, *, types: tuple[str, ...] = (), tags: tuple[str, ...] = ()
    ) -> AsyncIterator[ParkEvent | Restored]:
        """The park's events behind `<epoch>:<position>`, or from now on, without end; cuts are healed. Of a restore you are told."""
        reading = Reading(after)
        ask = self.wire.follow(after, types, tags)
        with reaching():
            while True:
                async for attempt in attempts(self._patience):
                    with attempt:
                        async for one in self._followed(reading, ask):
                            yield one

    async def _followed(self, reading: Reading, ask: Ask) -> AsyncIterator[ParkEvent | Restored]:
        headers = self.wire.headers(ask) | reading.opened()
        try:
            async with self._http.stream(
                ask.method, ask.path, params=ask.query, headers=headers, timeout=QUIET
            ) as response:
                if response.status_code != httpx.codes.OK:
                    checked(response.status_code, response.headers, await response.aread())
                async for piece in response.aiter_bytes():
                    for one in reading.read(piece):
                        yield one
            reading.ended()
        except CUT:
            if not reading.heard:
                raise

    async def _answer(self, ask: Ask, answer: Any) -> Any:
        with reaching(ask.key):
            async for attempt in attempts(self._patience):
                with attempt:
                    response = await self._http.request(
                        ask.method, ask.path, params=ask.query, content=ask.content, headers=self.wire.headers(ask)
                    )
                    return told(checked(response.status_code, response.headers, response.content), answer)
        raise AssertionError("an attempt either answers or raises")
