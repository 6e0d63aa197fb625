"""What if: the record replayed with events left out, or under other rules, and what would then have been decided otherwise."""

from datetime import date, datetime
from typing import Annotated, Literal

from msgspec import Meta, Struct

from contracts.envelope import Reason
from contracts.problems import (
    InvalidBody,
    MalformedBody,
    PositionAhead,
    RuleForbids,
    UnknownSubject,
    UnsupportedMediaType,
)
from contracts.read import BEHIND_A_KEY, Parameter, Read
from contracts.rules import Rules
from contracts.words import Day, Instant, Role

AUDITORS: frozenset[Role] = frozenset({"manager", "auditor"})
Position = Annotated[int, Meta(ge=1, le=2**62, description="A position of the log.")]
Asked = Literal["start", "admission", "issue", "duty", "refund"]
"""What somebody asked for: to start a game, to let one person in, to issue gear, to put staff on duty, to pay back."""
Facet = Literal["sit_outs_owed", "sit_outs_served", "stood_down", "ejected"]


class WhatIf(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The question. It writes nothing, whatever the answer."""

    void: Annotated[tuple[Position, ...], Meta(max_length=100, description="Events to leave out, by position.")] = ()
    rules: Rules | None = None
    """Rules that are to hold throughout, in place of those that did."""
    day: Day | None = None
    """The operating day to replay; where events are left out, that of the first of them unless another is named."""
    until: Instant | None = None
    """What was recorded later is not replayed; else the operating day's end."""


class Verdict(Struct, frozen=True, kw_only=True):
    granted: bool
    reasons: tuple[Reason, ...]


class Changed(Struct, frozen=True, kw_only=True):
    """A decision that would have been another. A start is decided on each player: `player` is empty where it is the field's own."""

    position: int
    occurred_at: datetime
    local_time: str
    asked: Asked
    subject: str
    """The tag of what was asked for: the game, the field, the piece of gear, the member of staff, the refund."""
    player: str | None
    was: Verdict
    would_be: Verdict
    sentence: str


class Consequence(Struct, frozen=True, kw_only=True):
    """What a caution came to, or would have: counted from that position on, until it ends by itself or another one is listed."""

    position: int
    occurred_at: datetime
    local_time: str
    player: str
    what: Facet
    was: int
    would_be: int
    sentence: str


class Otherwise(Struct, frozen=True, kw_only=True):
    """Everything that would have been decided otherwise, and nothing else.

    What people did afterwards stays as it was recorded: only decisions and their consequences are taken anew.
    """

    park: str
    epoch: int
    day: date
    first: int
    last: int
    """The positions that were replayed."""
    void: tuple[int, ...]
    rules: str | None
    decisions_seen: int
    decisions: tuple[Changed, ...]
    consequences: tuple[Consequence, ...]
    note: str


class Doubtful(Struct, frozen=True, kw_only=True):
    """A decision that does not follow from what was recorded before it, by the rules it names."""

    position: int
    type: str
    sentence: str


class Replayed(Struct, frozen=True, kw_only=True):
    """Every decision of a day taken anew on what the record held at that moment. None doubtful: each one follows from it."""

    park: str
    epoch: int
    day: date
    first: int
    last: int
    decisions_seen: int
    doubtful: tuple[Doubtful, ...]


WHAT_IF_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/audit/what-if",
        summary="What would have been decided otherwise without these events, or under other rules? It writes nothing.",
        roles=AUDITORS,
        method="post",
        body=WhatIf,
        answer=Otherwise,
        problems=(
            *BEHIND_A_KEY,
            MalformedBody,
            InvalidBody,
            RuleForbids,
            UnsupportedMediaType,
            PositionAhead,
            UnknownSubject,
        ),
    ),
    Read(
        path="/parks/{park}/audit/replay",
        summary="Does every decision of a day follow from what was recorded before it? Each is taken anew.",
        roles=AUDITORS,
        answer=Replayed,
        parameters=(Parameter(name="day", kind=Day, description="The operating day; today's when absent."),),
    ),
)
