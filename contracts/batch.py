"""Batches: what a device recorded while it was cut off, sent line by line; and the device's own count."""

from typing import Annotated, Final, Literal, get_args
from uuid import UUID

from msgspec import Meta, Raw, Struct

from contracts.answers import Problem, Receipt
from contracts.problems import BodyTooLarge, UnknownSubject, UnsupportedMediaType
from contracts.read import BEHIND_A_KEY, Read
from contracts.words import Role, StaffId

NDJSON: Final = "application/x-ndjson"
MOST_BYTES: Final = 16_000_000
"""In one batch."""
MOST_LINES: Final = 10_000
"""In one batch: it stops there and says where to go on."""
LONGEST_LINE: Final = 1_000_000
"""Bytes, without the line feed."""
ANY_DEVICE: Final[frozenset[Role]] = frozenset(get_args(Role))
Seq = Annotated[int, Meta(ge=0, le=2**62, description="The device's own dense count of what it recorded, from 1.")]


class Line(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One fact of a batch: what its Idempotency-Key, Device-Seq, path, Actor and body would have been, had it been sent alone."""

    key: UUID
    seq: Seq
    command: Annotated[str, Meta(description="Its path: `games/record-out`.", examples=["games/record-out"])]
    body: Raw
    actor: StaffId | None = None


class Verdict(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What became of one line: `receipt`, it is recorded; `problem`, it is not. `set_aside`: a person decides on it, so it need not come again."""

    line: int
    status: int
    key: UUID | None = None
    seq: int | None = None
    set_aside: bool = False
    receipt: Receipt | None = None
    problem: Problem | None = None


class BatchEnd(Struct, frozen=True, kw_only=True):
    """The last line of the answer. `resume`: the line from which to send again; those behind it have no verdict.

    `signed`: what was recorded in this epoch up to this position lies under a checkpoint outside, so a device may forget it.
    """

    end: Literal[True] = True
    lines: int
    epoch: int
    signed: int
    resume: int | None


class Sequence(Struct, frozen=True, kw_only=True):
    """A device's own numbers up to a position of the log, as ranges with both ends. `holes`: numbers below its greatest that never came."""

    park: str
    device: str
    epoch: int
    position: int
    held: tuple[tuple[int, int], ...]
    """Recorded."""
    refused: tuple[tuple[int, int], ...]
    """The device was told that these are not recorded; some of them are set aside, and some were recorded later."""
    holes: tuple[tuple[int, int], ...]
    set_aside: int
    signed: int


_SENT: Final = {
    "key": "017f22e2-79b0-7cc3-98c4-dc0c0c07398f",
    "seq": 17,
    "command": "games/record-out",
    "actor": "staff-wren",
    "body": {
        "player": "player-ash",
        "field": "birch",
        "game": "birch-3",
        "cause": "eliminated",
        "occurred_at": "2026-05-09T12:05:06Z",
    },
}
_EXAMPLE: Final = (
    '{"line":1,"status":201,"key":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","seq":17,"receipt":{"park":"larchmoor","epoch":1,"position":4711,'
    '"recorded_at":"2026-05-09T12:05:06Z","repeat":false,"events":[]}}\n{"end":true,"lines":1,"epoch":1,"signed":4600,"resume":null}\n'
)
BATCH_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/batch",
        summary="Record facts in the order of their lines, a verdict each. Send it again, whole or in part, as often as need be.",
        roles=ANY_DEVICE,
        method="post",
        body=Line,
        takes=NDJSON,
        sent=_SENT,
        media=NDJSON,
        example=_EXAMPLE,
        problems=(*BEHIND_A_KEY, BodyTooLarge, UnsupportedMediaType),
    ),
    Read(
        path="/parks/{park}/devices/{device}/sequence",
        summary="Which of a device's own numbers are recorded, and where one is missing. Asked by the device itself, a manager or an auditor.",
        roles=ANY_DEVICE,
        answer=Sequence,
        problems=(*BEHIND_A_KEY, UnknownSubject),
    ),
)
