"""A batch of facts on its way: the lines as they are sent, and the verdicts as they come back. No socket, no disk."""

from collections.abc import Sequence
from typing import Final
from uuid import UUID

import httpx
import msgspec
from msgspec import Struct

from contracts.answers import Problem, Receipt
from contracts.batch import Line
from contracts.client.wire import passing, refused
from contracts.envelope import UNREADABLE

MOST_LINES: Final = 250
MOST_BYTES: Final = 262_144
"""A batch ends before the line that would make it longer: the park answers a batch once it has it all, so little has to be sent again after a cut."""
LONGEST_BODY: Final = 900_000
"""Bytes of one fact; the park takes lines of a million."""


class Fact(Struct, frozen=True):
    """One fact of a device, as it lies on its disk."""

    seq: int
    key: UUID
    command: str
    actor: str | None
    body: bytes


class Verdict(Struct, frozen=True):
    """What a device reads in `contracts.batch.Verdict` and `BatchEnd`: of one line, or, with `end`, of its log: the epoch, and how far that lies under a checkpoint outside."""

    key: UUID | None = None
    status: int = 0
    receipt: Receipt | None = None
    problem: Problem | None = None
    set_aside: bool = False
    end: bool = False
    epoch: int = 0
    signed: int = 0

    @property
    def settles(self) -> bool:
        """The park has decided: it is recorded, or a person's to judge. Else the same is sent again."""
        return self.set_aside or self.receipt is not None or (self.problem is not None and not self.passing)

    @property
    def passing(self) -> bool:
        return self.problem is not None and not self.set_aside and bool(passing(refused(self.problem)))


_decode = msgspec.json.Decoder(Verdict).decode


class Batch:
    """One sending. Feed it what comes back, in whatever pieces; what it has read so far holds however the connection ends."""

    def __init__(self, facts: Sequence[Fact]) -> None:
        self.facts = tuple(facts)
        self.content = b"".join(msgspec.json.encode(_line(fact)) + b"\n" for fact in facts)
        self.settled: set[UUID] = set()
        self.stopped: Problem | None = None
        """Why the park stopped before the last line, where that passes."""
        self.end: Verdict | None = None
        self._keys = {fact.key for fact in facts}
        self._rest = b""

    def read(self, piece: bytes) -> list[Verdict]:
        """The verdicts that settle a line of this batch, by whole lines; what is none of ours is left out."""
        *lines, self._rest = (self._rest + piece).split(b"\n")
        try:
            found = [self._judged(_decode(line)) for line in lines if line.strip()]
        except UNREADABLE as error:
            raise httpx.RemoteProtocolError(f"What came back is no verdict: {error}") from error
        return [verdict for verdict in found if verdict is not None]

    def _judged(self, verdict: Verdict) -> Verdict | None:
        if verdict.end:
            self.end = verdict
        elif verdict.key in self._keys and verdict.settles:
            self.settled.add(verdict.key)
            return verdict
        elif verdict.passing:
            self.stopped = verdict.problem
        return None

    def concluded(self) -> Verdict:
        """The end line. Raises what passes, where it kept every line of this batch from being settled: the same is to be sent again."""
        if self.end is None or self.end.epoch < 1:
            raise httpx.RemoteProtocolError("The answer was cut before its end, or the park cannot read its log.")
        if self.facts and not self.settled:
            if self.stopped is not None:
                raise refused(self.stopped)
            raise httpx.RemoteProtocolError("The park gave no verdict on any line.")
        return self.end


def _line(fact: Fact) -> Line:
    return Line(key=fact.key, seq=fact.seq, command=fact.command, body=msgspec.Raw(fact.body), actor=fact.actor)
