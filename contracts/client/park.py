"""The park as a device's program sees it, one call after another. `asyncpark` is the same for asyncio."""

from collections.abc import Iterator
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


class Park:
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
        http: httpx.Client | None = None,
    ) -> None:
        self.wire = Wire(park, key, clock=clock, random=random, version=version)
        self._http = http or httpx.Client(base_url=url, timeout=ANSWERS_WITHIN)
        self._patience = patience

    @classmethod
    def open(cls, path: str | PathLike[str], **settings: Any) -> Self:
        """The park whose key `enrol` kept in a file."""
        kept = read_key(path)
        return cls(kept.url, kept.park, kept.key, **settings)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        self._http.close()

    def do(self, command: Command, actor: str | None = None, *, key: UUID | None = None) -> Receipt:
        """Ask for something, or tell it; the receipt. `key`: that of a sending whose outcome is not known."""
        ask = self.wire.write(command, actor, key)
        asked = self.wire.clock.now()
        return self.wire.receipt(asked, self._answer(ask, Receipt))

    def get(self, path: str, answer: type[T] | Any = Any, **query: object) -> T:
        """What a path below the park's answers, as its type; `str` leaves it as it is."""
        found: T = self._answer(self.wire.read(path, **query), answer)
        return found

    def question(self, path: str, body: Struct | None = None, answer: type[T] | Any = Any) -> T:
        """The answer to a question that is too long for a query."""
        found: T = self._answer(self.wire.question(path, body), answer)
        return found

    def clearance(self, player: str, field: str, day_pass: str | None = None) -> Clearance:
        """May this player enter this field now, and why not? In doubt it is no: look at him too."""
        return self.get(f"clearance/players/{wire.segment(player)}", Clearance, field=field, day_pass=day_pass)

    def player(self, *, day_pass: str | None = None, armband: int | None = None) -> FoundPlayer:
        """Whom a pass, scanned or typed, or an armband names today."""
        return self.get("registration/players", FoundPlayer, day_pass=day_pass, armband=armband)

    def pass_keys(self) -> PassKeys:
        """The public keys with which `passes.verify` needs no network."""
        return self.get("passes/keys", PassKeys)

    def send(self, queue: Queue) -> None:
        """Send what waits, in its order; returns once nothing does. However it ends, the queue knows how far it came: call it again."""
        queue.bind(self.wire.park, self.wire.device)
        queue.unsure()
        done = False
        with reaching():
            while not done:
                for attempt in attempts(self._patience):
                    with attempt:
                        done = self._batch(queue)

    def _batch(self, queue: Queue) -> bool:
        batch = queue.batch()
        ask = self.wire.batch(batch.content)
        try:
            with self._http.stream(
                ask.method, ask.path, content=ask.content, headers=self.wire.headers(ask)
            ) as response:
                if response.status_code != httpx.codes.OK:
                    checked(response.status_code, response.headers, response.read())
                for piece in response.iter_bytes():
                    queue.settle(batch.read(piece))
            end = batch.concluded()
        except (*CUT, Refused):
            queue.unsure()
            if batch.settled:
                return False  # it was cut, but came on: a new try begins
            raise
        return queue.ended(end.epoch, end.signed)

    def events(
        self, after: str | None = None, *, types: tuple[str, ...] = (), tags: tuple[str, ...] = ()
    ) -> Iterator[ParkEvent | Restored]:
        """The park's events behind `<epoch>:<position>`, or from now on, without end; cuts are healed. Of a restore you are told."""
        reading = Reading(after)
        ask = self.wire.follow(after, types, tags)
        with reaching():
            while True:
                for attempt in attempts(self._patience):
                    with attempt:
                        yield from self._followed(reading, ask)

    def _followed(self, reading: Reading, ask: Ask) -> Iterator[ParkEvent | Restored]:
        headers = self.wire.headers(ask) | reading.opened()
        try:
            with self._http.stream(ask.method, ask.path, params=ask.query, headers=headers, timeout=QUIET) as response:
                if response.status_code != httpx.codes.OK:
                    checked(response.status_code, response.headers, response.read())
                for piece in response.iter_bytes():
                    yield from reading.read(piece)
            reading.ended()
        except CUT:
            if not reading.heard:
                raise

    def _answer(self, ask: Ask, answer: Any) -> Any:
        with reaching(ask.key):
            for attempt in attempts(self._patience):
                with attempt:
                    response = self._http.request(
                        ask.method, ask.path, params=ask.query, content=ask.content, headers=self.wire.headers(ask)
                    )
                    return told(checked(response.status_code, response.headers, response.content), answer)
        raise AssertionError("an attempt either answers or raises")
