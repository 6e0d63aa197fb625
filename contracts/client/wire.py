"""What goes over the wire and how an answer is read: all of it without a socket, for `Park` and `AsyncPark` alike."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from random import SystemRandom
from typing import Any, Final
from urllib.parse import quote
from uuid import UUID

import httpx
import msgspec
import stamina
from msgspec import Struct

from contracts import problems
from contracts.answers import Problem, Receipt
from contracts.batch import NDJSON
from contracts.catalogue import COMMANDS
from contracts.client.clock import Bits, Clock, Offset, SystemClock, uuid7
from contracts.envelope import UNREADABLE, Command, Reason
from contracts.problems import Refused

PATHS: Final = {command: path for path, command in COMMANDS.items()}
PATIENCE: Final = 20.0
"""Seconds for which the same is sent again before whoever waits is told."""
ANSWERS_WITHIN: Final = 10.0
"""Seconds that one try may take."""
LONGEST_WAIT: Final = 5.0
_KINDS: Final = {kind.type_uri(): kind for kind in problems.every()}
CUT: Final = (httpx.TransportError, httpx.DecodingError)
"""What breaks a connection, or makes its answer no answer of the park's."""
_PROBLEMS: Final = "/problems/"
_PASSING: Final = frozenset({"/problems/contended", "/problems/in-flight", "/problems/line-cut"})


class Unreachable(Exception):  # noqa: N818 - a state of the world, not a mistake
    """No answer came in all that time. Whether the park recorded it is not known: send the very same again, under `key`."""

    def __init__(self, key: UUID | None = None) -> None:
        again = "" if key is None else f" Whether this was recorded is not known: send the very same again under {key}."
        super().__init__(f"The park's server cannot be reached.{again}")
        self.key = key


class Ask(Struct, frozen=True):
    """One request, the same whenever it is sent again; what changes with each try is in `Wire.headers`."""

    method: str
    path: str
    content: bytes | None = None
    query: tuple[tuple[str, str], ...] = ()
    headers: Mapping[str, str] = {}
    key: UUID | None = None


class Wire:
    """One device of one park, and what it says in each request.

    `clock` and `random` make the times and the keys; `version` is the device's own program's.
    """

    def __init__(
        self, park: str, key: str, *, clock: Clock | None = None, random: Bits | None = None, version: str = ""
    ) -> None:
        self.park = park
        self.device = key.rpartition(".")[0]
        self.clock = clock or SystemClock()
        self.random = random or SystemRandom()
        self.offset = Offset()
        self._fixed = {"Authorization": f"Bearer {key}"} | ({"Device-Version": version} if version else {})

    def headers(self, ask: Ask) -> dict[str, str]:
        """The headers of one try: the device says what its clock shows as it sends."""
        return {**self._fixed, "Device-Time": self.clock.now().isoformat(), **ask.headers}

    def write(self, command: Command, actor: str | None, key: UUID | None) -> Ask:
        """A command, under a new key or one that it was sent under before."""
        key = key or uuid7(self.clock, self.random)
        headers = {"Content-Type": "application/json", "Idempotency-Key": f'"{key}"'}
        headers |= {"Actor": actor} if actor else {}
        content = msgspec.json.encode(command)
        return Ask("POST", self._at(PATHS[type(command)]), content, (), headers, key)

    def read(self, path: str, **query: object) -> Ask:
        """A question whose path is below the park's."""
        given = tuple((name, str(value)) for name, value in query.items() if value is not None)
        return Ask("GET", self._at(path), None, given)

    def question(self, path: str, body: Struct | None) -> Ask:
        """A question that is too long for a query; nothing is recorded."""
        content = None if body is None else msgspec.json.encode(body)
        return Ask("POST", self._at(path), content, (), {} if body is None else {"Content-Type": "application/json"})

    def batch(self, content: bytes) -> Ask:
        """Lines of facts, one after another."""
        return Ask("POST", self._at("batch"), content, (), {"Content-Type": NDJSON})

    def follow(self, after: str | None, types: Iterable[str], tags: Iterable[str]) -> Ask:
        """The park's events without end."""
        query = [*(("type", one) for one in types), *(("tag", one) for one in tags)]
        return Ask("GET", self._at("events/stream"), None, (*query, *((("after", after),) if after else ())))

    def receipt(self, asked: datetime, receipt: Receipt) -> Receipt:
        """A write's receipt. When it was recorded tells the park's clock, unless that was long ago."""
        if not receipt.repeat:
            self.offset.heard(asked, self.clock.now(), receipt.recorded_at)
        return receipt

    def now(self) -> datetime:
        """The park's clock, as well as it is known."""
        return self.clock.now() + self.offset.ahead

    def _at(self, path: str) -> str:
        return f"/parks/{self.park}/{path}"


def segment(name: str) -> str:
    """A name as one part of a path."""
    return quote(name, safe="")


def told(content: bytes, answer: Any) -> Any:
    """An answer as its type; raises what breaks a connection where it is none, for then something that stands between answered in the park's place."""
    try:
        return content.decode() if answer is str else msgspec.json.decode(content, type=answer)
    except UNREADABLE as error:
        raise httpx.RemoteProtocolError(f"What came back is no answer of the park's: {error}") from error


def checked(status: int, headers: Mapping[str, str], content: bytes) -> bytes:
    """An answer's content; raises the `Refused` that it is, and what breaks a connection where it is no word of the park's."""
    if 200 <= status < 300:
        return content
    problem: Problem = told(content, Problem)
    if not problem.type.startswith(_PROBLEMS):
        raise httpx.RemoteProtocolError(f"The answer was {status}, and no problem of the park's.")
    raise refused(problem, headers)


def refused(problem: Problem, headers: Mapping[str, str] | None = None) -> Refused:
    """A problem as the class of `contracts.problems` whose type it bears; a plain `Refused` where only a newer park knows it.

    Its `extensions` hold the whole `problem`; `reasons` reads those of a refusal on record.
    """
    error = _KINDS.get(problem.type, Refused)(problem.detail, problem=problem, where=problem.where)
    vars(error).update(status=problem.status, title=problem.title)
    wait = (headers or {}).get("Retry-After", "")
    if wait.isdecimal():
        error.extensions["retry_after"] = float(wait)
    return error


def reasons(error: Refused) -> tuple[Reason, ...]:
    """Why somebody is not cleared: the reasons of a refusal that is on record, those of each player behind the command's own."""
    found: Any = error.extensions["problem"].refusal or {}
    told = [*found.get("reasons", ()), *(one for each in found.get("offenders", ()) for one in each["reasons"])]
    return msgspec.convert(told, tuple[Reason, ...])


def passing(error: Exception) -> bool | float:
    """Whether the same may be sent again, or the seconds after which: nobody knows what became of it, others came between, or it was too early."""
    if isinstance(error, CUT):
        return True
    if not isinstance(error, Refused):
        return False
    if error.status < 500 and error.status != 429 and error.extensions["problem"].type not in _PASSING:
        return False
    return min(error.extensions.get("retry_after", 0.0), LONGEST_WAIT) or True


def attempts(patience: float) -> Any:
    """One try after another of what passes, with growing pauses; in a `for` or an `async for`."""
    return stamina.retry_context(
        on=passing, attempts=None, timeout=patience, wait_initial=0.1, wait_max=LONGEST_WAIT, wait_jitter=0.2
    )


@contextmanager
def reaching(key: UUID | None = None) -> Iterator[None]:
    """Raises Unreachable where no answer comes in the block."""
    try:
        yield
    except CUT as error:
        raise Unreachable(key) from error
