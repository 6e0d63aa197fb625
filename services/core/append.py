"""What is handed to the log, and what comes back. The log deals in bytes: nothing here is decoded."""

from datetime import date, datetime
from uuid import UUID

from msgspec import Struct


class Draft(Struct, frozen=True):
    """An event that has no position yet; `body` is the event's own bytes.

    `carries` names those of its tags whose fold begins anew at this event.
    """

    id: UUID
    type: str
    day: date
    occurred_at: datetime
    tags: tuple[str, ...]
    carries: tuple[str, ...]
    body: bytes


class Condition(Struct, frozen=True):
    """Nothing newer than position `after` has this tag and one of these types; no types means any."""

    tag: str
    after: int
    types: frozenset[str] = frozenset()


class Request(Struct, frozen=True):
    """Who asked for what: the same id must come with the same device and digest, and is then answered as before."""

    id: UUID
    device: str
    digest: bytes


class Append(Struct, frozen=True):
    """One or more events that are recorded together, or not at all."""

    request: Request
    events: tuple[Draft, ...]
    conditions: tuple[Condition, ...] = ()


class Appended(Struct, frozen=True):
    """Where the events lie: positions `first` to `last`; `repeat` if they had been recorded before."""

    epoch: int
    first: int
    last: int
    recorded_at: datetime
    repeat: bool


class Conflict(Exception):  # noqa: N818  an answer, not a fault
    """Something newer than was read has the tag: read and decide again."""

    def __init__(self, tag: str) -> None:
        super().__init__(f"something newer than was read concerns {tag}")
        self.tag = tag


class RequestReused(Exception):  # noqa: N818  an answer, not a fault
    """The request's id was used before, for other bytes or by another device."""


class OutcomeUnknown(Exception):  # noqa: N818  an answer, not a fault
    """The database did not answer in time: the events may be recorded or not. The same request may be sent again."""


class Behind(Exception):  # noqa: N818  a state of the world, not a fault
    """More of this log is known outside the database than it holds: nothing is recorded until a person has looked."""
