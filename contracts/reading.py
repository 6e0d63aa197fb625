"""Reading along: the park's events from any position, as lines or as a stream without end, and sent on to a webhook."""

from datetime import datetime
from typing import Annotated, ClassVar

from msgspec import Meta, Struct

from contracts.envelope import Command, Data
from contracts.evidence import EpochNumber, Position
from contracts.problems import PositionAhead, PositionLost, TooManyStreams
from contracts.read import BEHIND_A_KEY, EVENT_STREAM, Parameter, Read
from contracts.words import Role

NDJSON = "application/x-ndjson"
READERS: frozenset[Role] = frozenset({"integrator", "auditor", "manager"})
KEEPERS: frozenset[Role] = frozenset({"auditor", "manager"})
MANAGER: frozenset[Role] = frozenset({"manager"})
MOST_LINES = 10_000
"""Events in one answer of lines."""
MOST_OPEN = 20
"""Webhooks of one park at a time."""

WebhookId = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$(?!\n)",
        extra={"tag": "webhook"},
        description="A receiver outside that the park's events are sent to.",
    ),
]
TypeName = Annotated[
    str,
    Meta(
        pattern=r"^[a-z_]{1,40}\.([a-z_]{1,60}|\*)$(?!\n)",
        description="A type of event, such as `games.game_ended`, or all of one service, `games.*`.",
        examples=["games.game_ended", "games.*"],
    ),
]
TagName = Annotated[
    str,
    Meta(
        pattern=r"^[a-z_]{1,20}(:[A-Za-z0-9._-]{1,64})?$(?!\n)",
        description="A subject, such as `field:birch`.",
        examples=["field:birch"],
    ),
]
Host = Annotated[
    str,
    Meta(
        pattern=r"^[a-z0-9.\[\]:-]{1,260}$(?!\n)",
        description="The receiver's host, and its port where one was named. The rest of its address may hold secrets, and is not recorded.",
    ),
]
Token = Annotated[
    str, Meta(pattern=r"^[0-9]{1,9}:[0-9]{1,18}$(?!\n)", examples=["1:4711"], description="`<epoch>:<position>`.")
]
Address = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=2000,
        description="Where to send to: https, or http on this very machine. It is kept sealed, and never comes into the log.",
        examples=["https://office.larchmoor.example/hooks/park"],
    ),
]
Types = Annotated[tuple[TypeName, ...], Meta(max_length=50, description="Only these types; all where none is named.")]
Tags = Annotated[
    tuple[TagName, ...], Meta(max_length=50, description="Only what concerns one of these; all where none is named.")
]


class WebhookOpened(Data, frozen=True, kw_only=True):
    """From then on events are sent to a receiver outside: those behind `after`, or behind this event where that is absent."""

    ALSO: ClassVar[tuple[str, ...]] = ("webhooks",)
    webhook: WebhookId
    host: Host
    types: Types
    tags: Tags
    after: Annotated[int, Meta(ge=0, le=2**62)] | None


class OpenWebhook(Command, frozen=True, kw_only=True):
    """Have the park's events sent to an address, signed. The answer shows the `secret` that the receiver checks them with, this once.

    Every letter bears the headers of the Standard Webhooks form: `webhook-id`, `webhook-timestamp` and `webhook-signature`, which is
    `v1,` and the HMAC-SHA-256 over `<id>.<timestamp>.<body>` in base64. The body is a JSON array of events in their order. The next letter
    leaves once the one before was answered with 2xx; a letter that comes again bears the same `webhook-id`, so that it can be dropped.
    """

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    webhook: WebhookId
    url: Address
    types: Types = ()
    tags: Tags = ()
    after: Token | None = None


class WebhookClosed(Data, frozen=True, kw_only=True):
    """Nothing more is sent there, and the secret is destroyed."""

    ALSO: ClassVar[tuple[str, ...]] = ("webhooks",)
    webhook: WebhookId


class CloseWebhook(Command, frozen=True, kw_only=True):
    """Have nothing more sent to a webhook. To give it another address or secret, close it and open it anew."""

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    webhook: WebhookId


class DeadLetterReplayed(Data, frozen=True, kw_only=True):
    """Somebody had a letter sent again that had been given up: the events from `first` to `last` that the webhook asked for."""

    ALSO: ClassVar[tuple[str, ...]] = ("webhooks",)
    webhook: WebhookId
    first: Position
    last: Position


class ReplayDeadLetter(Command, frozen=True, kw_only=True):
    """Have a letter sent again that was given up, under its old `webhook-id`, once the receiver has been put right."""

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    webhook: WebhookId
    first: Annotated[int, Meta(ge=1, le=2**62, description="The position of the letter's first event.")]


class OpenedWebhook(Struct, frozen=True, kw_only=True):
    """A webhook that is open, and how far its receiver has come."""

    webhook: WebhookId
    host: Host
    types: Types
    tags: Tags
    opened_at: datetime
    delivered: int
    """Everything up to this position was answered for, given up, or not asked for."""
    behind: int
    """Positions of the log that are still to be looked through."""
    tries: int
    """Failures in a row of the letter that is under way."""
    why: str
    """What the last try failed by; empty while all is well."""
    dead_letters: int


class Webhooks(Struct, frozen=True, kw_only=True):
    epoch: EpochNumber
    position: int
    webhooks: tuple[OpenedWebhook, ...]


class DeadLetter(Struct, frozen=True, kw_only=True):
    """A letter that its receiver would not take. Its events are in the log, so it can be sent again whenever somebody asks for it."""

    webhook: WebhookId
    id: str
    """Its `webhook-id`."""
    first: Position
    last: Position
    events: int
    tries: int
    why: str
    given_up_at: datetime
    replaying: bool
    """It is to be sent again, or is being sent."""


class DeadLetters(Struct, frozen=True, kw_only=True):
    """The newest first, a thousand at most."""

    dead_letters: tuple[DeadLetter, ...]


_WANTED = (
    Parameter(
        name="tag", kind=Tags, description="Only what concerns one of these subjects; may be given several times."
    ),
    Parameter(name="type", kind=Types, description="Only these types; may be given several times."),
)
EVENT_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/events",
        summary=(
            "The park's events behind a position, a line each, in order. The last line, `end`, says how far was read: its epoch and position are the next `after`; "
            "an answer without it was cut off."
        ),
        roles=READERS,
        media=NDJSON,
        parameters=(
            Parameter(
                name="after", kind=Token, description="Epoch and position read last; from the first event when absent."
            ),
            *_WANTED,
            Parameter(
                name="limit",
                kind=Annotated[int, Meta(ge=1, le=MOST_LINES)],
                description="At most so many events; 1,000 when absent.",
            ),
        ),
        problems=(*BEHIND_A_KEY, PositionAhead, PositionLost),
    ),
    Read(
        path="/parks/{park}/events/stream",
        summary=(
            "The park's events as server-sent events without end, each under the id `<epoch>:<position>`; a `beat` every 5 s while the log can be read. "
            "Resumes by Last-Event-ID. After a restore, `epoch` names the position up to which both lives of the log are the same, and goes on from there."
        ),
        roles=READERS,
        media=EVENT_STREAM,
        parameters=(
            Parameter(
                name="after",
                kind=Token,
                description="Where to begin without a Last-Event-ID; with what comes next when absent.",
            ),
            *_WANTED,
        ),
        problems=(*BEHIND_A_KEY, PositionAhead, TooManyStreams),
    ),
)
WEBHOOK_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/reading/webhooks",
        summary="Where events are sent to, and how far each receiver has come.",
        roles=KEEPERS,
        answer=Webhooks,
    ),
    Read(
        path="/parks/{park}/reading/dead-letters",
        summary="The letters that a receiver would not take, with the reason.",
        roles=KEEPERS,
        answer=DeadLetters,
        parameters=(Parameter(name="webhook", kind=WebhookId, description="Of this webhook only."),),
    ),
)
