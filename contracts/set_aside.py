"""Lines of batches that were not recorded and wait for a person: in groups of what they have in common, one by one, and judged many at once."""

from datetime import datetime
from typing import Annotated, Final, Literal
from uuid import UUID

from msgspec import Meta, Struct

from contracts.answers import Receipt
from contracts.batch import Seq
from contracts.devices import Dismissal, LineId, ProblemWord
from contracts.problems import (
    BodyTooLarge,
    Contended,
    IdempotencyKeyMissing,
    IdempotencyKeyReused,
    InFlight,
    InvalidBody,
    MalformedBody,
    UnknownSubject,
    UnsupportedMediaType,
)
from contracts.read import BEHIND_A_KEY, Parameter, Read
from contracts.words import DeviceId, Instant, Role

JUDGES: Final[frozenset[Role]] = frozenset({"manager", "head_referee"})
LISTERS: Final[frozenset[Role]] = JUDGES | {"auditor"}
MOST_JUDGED: Final = 500
"""Lines in one request."""


class SetAside(Struct, frozen=True, kw_only=True):
    """One line that was not recorded. `claimed` is as it came, whatever it claims; None once it was judged."""

    line: str
    device: str
    seq: int | None
    key: UUID | None
    received_at: datetime
    why: str
    """The problem's type."""
    detail: str
    claimed: str | None
    sha256: str
    judged_at: datetime | None
    judged_by: str | None
    outcome: Literal["accepted", "dismissed", "recorded"] | None
    """`recorded`: the very line came again later, and was recorded then."""


class SetAsides(Struct, frozen=True, kw_only=True):
    """The lines that wait for a person, the longest waiting first; judged ones on request. `more`: there are others."""

    park: str
    lines: tuple[SetAside, ...]
    more: bool


class Alike(Struct, frozen=True, kw_only=True):
    """The lines of one device that were set aside for one reason. Of those that bear a number `first_seq` and `last_seq` are the least and the greatest."""

    device: str
    why: str
    """The problem's type."""
    lines: int
    first_at: datetime
    last_at: datetime
    first_seq: int | None
    last_seq: int | None
    such_as: str
    """What the longest waiting of them was told."""


class SetAsideGroups(Struct, frozen=True, kw_only=True):
    """All that waits for a person as of a moment, in groups: the device with the most of it first, and of each the greatest group first."""

    park: str
    as_of: datetime
    groups: tuple[Alike, ...]


class Chosen(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Those that wait and have all of this in common; `device` or `problem` has to be said."""

    received_until: Annotated[
        Instant, Meta(description="`as_of` of the list that was looked at: what came later, nobody has seen.")
    ]
    device: DeviceId | None = None
    problem: ProblemWord | None = None
    first_seq: Seq | None = None
    last_seq: Seq | None = None
    received_from: Instant | None = None
    after: Annotated[LineId | None, Meta(description="Go on behind this line: `after` of the answer before.")] = None


class AcceptLines(Chosen, frozen=True, kw_only=True):
    """Record these lines, each as `devices/accept-line` would."""


class DismissLines(Chosen, frozen=True, kw_only=True):
    """Leave these lines unrecorded, each as `devices/dismiss-line` would."""

    cause: Dismissal


class Stayed(Struct, frozen=True, kw_only=True):
    """A line that could not be judged so, and why: it waits on."""

    line: str
    why: str
    """The problem's type."""
    detail: str


class Judged(Struct, frozen=True, kw_only=True):
    """What became of the lines, the longest waiting first, up to a bound. `receipt`: what is on the record of each; None where none could be judged so.

    The same request again gets the same receipt; which lines stayed is told once. What remains is for a new request, with `after`.
    """

    park: str
    judged: int
    stayed: tuple[Stayed, ...]
    remaining: int
    after: str | None
    """The last line that was looked at, where any remain behind it."""
    receipt: Receipt | None


_OF_MANY: Final = (
    *BEHIND_A_KEY,
    MalformedBody,
    InvalidBody,
    IdempotencyKeyMissing,
    IdempotencyKeyReused,
    UnknownSubject,
    BodyTooLarge,
    UnsupportedMediaType,
    InFlight,
    Contended,
)
_SENT: Final = {"device": "gate-1", "problem": "device-revoked", "received_until": "2026-05-09T13:40:00Z"}
SET_ASIDE_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/devices/set-aside",
        summary="The lines of batches that wait for a person's judgement.",
        roles=LISTERS,
        answer=SetAsides,
        parameters=(
            Parameter(name="device", kind=DeviceId, description="Only those of this device."),
            Parameter(name="problem", kind=ProblemWord, description="Only those that were set aside for this."),
            Parameter(name="judged", kind=bool, description="Those that were judged instead, the newest first."),
        ),
    ),
    Read(
        path="/parks/{park}/devices/set-aside/groups",
        summary="All that waits for a person's judgement, by device and by why it was set aside.",
        roles=LISTERS,
        answer=SetAsideGroups,
    ),
    Read(
        path="/parks/{park}/devices/accept-lines",
        summary=f"Record up to {MOST_JUDGED} lines that were set aside, in their order, each by its own rules; one that is refused again stays.",
        roles=JUDGES,
        method="post",
        body=AcceptLines,
        sent=_SENT,
        keyed=True,
        answer=Judged,
        problems=_OF_MANY,
    ),
    Read(
        path="/parks/{park}/devices/dismiss-lines",
        summary=f"Leave up to {MOST_JUDGED} lines that were set aside unrecorded. What did happen is recorded first, by hand.",
        roles=JUDGES,
        method="post",
        body=DismissLines,
        sent=_SENT | {"cause": "did_not_happen"},
        keyed=True,
        answer=Judged,
        problems=_OF_MANY,
    ),
)
