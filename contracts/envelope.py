"""What every event carries, and what it becomes once the log has given it a position."""

from datetime import date, datetime
from typing import Annotated, Any, ClassVar, Final, Generic, Literal, TypeVar
from uuid import UUID

import msgspec
from msgspec import Meta, Struct

from contracts.words import Instant, Role

UNREADABLE: Final = (msgspec.MsgspecError, UnicodeDecodeError, RecursionError)
"""What decoding raises on bytes that are not the JSON they should be. Brackets without end run into the interpreter's own limit."""
Clock = Annotated[
    Literal["server", "corrected", "claimed", "impossible"],
    Meta(
        description=(
            "Whose time occurred_at is: the server's at receipt; the device's, corrected by the offset measured at this contact; "
            "the device's as claimed, its offset unknown; or impossible as claimed and replaced by the time of receipt."
        )
    ),
]


class Data(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The facts of one event. A class in `contracts.<service>` named in the past tense is one event type."""

    VERSION: ClassVar[int] = 1
    ALSO: ClassVar[tuple[str, ...]] = ()
    """Tags beyond those that its fields name."""
    CARRIES: ClassVar[frozenset[str]] = frozenset()
    """Prefixes of the tags whose story begins anew at this event."""


class Grant(Data, frozen=True, kw_only=True):
    """A command was granted: what it rested on stays with it."""

    basis: "Basis"


class Refusal(Data, frozen=True, kw_only=True):
    """A command was refused on the record: what it rested on stays with it."""

    basis: "Basis"
    reasons: "tuple[Reason, ...]"


class Basis(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a decision rested on: the moment used, the rules in force, and the position up to which the log had been read."""

    now: Instant
    rules: str
    position: Annotated[int, Meta(ge=0)]


class Reason(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One reason for a `not cleared`: a stable code, a sentence for the player, and where it is cleared."""

    code: str
    sentence: str
    where: str
    subject: str | None = None
    """The tag it is about, where that is not the player himself."""


class Command(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A request. A class in `contracts.<service>` in the imperative is one command; its route follows from its name."""

    ROLES: ClassVar[frozenset[Role]]
    """Who may ask: the device's key must hold one of these roles."""
    FACT: ClassVar[bool] = False
    """True: it has happened, so it is recorded whatever the state and however late."""
    CLAIMS: ClassVar[str] = ""
    """The tag that a fact must not race on, its own new name as a rule: of two at the same time, the second hears what it would hear a moment later."""

    FIRST: ClassVar[str] = ""
    """What every answer to it says first: what comes before any record."""

    occurred_at: Instant | None = None
    """When it happened by the device's own clock; the time of receipt when absent."""


D_co = TypeVar("D_co", bound=Data, covariant=True)


class Event(Struct, frozen=True, kw_only=True):
    """An event's own bytes: all of it but its place in the log. Field order is the order of the bytes."""

    type: str
    version: int
    id: UUID
    day: date
    occurred_at: datetime
    claimed_at: datetime | None
    clock: Clock
    device: str
    device_seq: int | None
    actor: str | None
    tags: tuple[str, ...]
    data: msgspec.Raw


class Recorded(Struct, Generic[D_co], frozen=True):
    """An event with its place in the log, its data decoded and brought to the newest version."""

    park: str
    epoch: int
    position: int
    recorded_at: datetime
    id: UUID
    type: str
    day: date
    occurred_at: datetime
    claimed_at: datetime | None
    clock: str
    device: str
    device_seq: int | None
    actor: str | None
    tags: tuple[str, ...]
    data: D_co


class Unknown(Data, frozen=True, kw_only=True):
    """Stands for data this version cannot read. Whoever it concerns is not cleared until someone can."""

    type: str
    version: int
    why: str
    raw: Any = None
