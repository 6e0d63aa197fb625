"""A story: what the record holds about one subject, as a timeline in words, with what was known when and what was decided on it."""

from datetime import date, datetime
from typing import Annotated, Any, Literal

from msgspec import Meta, Struct

from contracts.envelope import Clock, Reason
from contracts.moments import Point
from contracts.passes import PASS_REFUSALS, Shown
from contracts.problems import PositionAhead, UnknownSubject
from contracts.read import BEHIND_A_KEY, Parameter, Read
from contracts.what_if import AUDITORS
from contracts.words import Day, DayArmband, FieldId, Instant, Part, RecordId


class Decided(Struct, frozen=True, kw_only=True):
    """A decision on the record: what was asked, whether it was granted, and on what it rested."""

    granted: bool
    sentence: str
    reasons: tuple[Reason, ...]
    rests_on: int
    """The position up to which the log had been read."""
    rules: str


class Told(Struct, frozen=True, kw_only=True):
    """One event of a story."""

    epoch: int
    position: int
    id: str
    type: str
    occurred_at: datetime
    recorded_at: datetime
    claimed_at: datetime | None
    local_time: str
    """When it happened by the park's own clock, with its offset."""
    late_seconds: float
    """From when it happened until it was recorded."""
    lateness: str
    """The same in words, empty where it is too little to matter."""
    clock: Clock
    device: str
    device_seq: int | None
    actor: str | None
    sentence: str
    """What happened, in words a customer understands."""
    rule: str
    """The rule then in force that it falls under, empty where there is none."""
    consequence: str
    """What followed from it by that rule (a sit-out, an ejection), empty where nothing did."""
    decision: Decided | None
    corrected_by: tuple[int, ...]
    """Positions of later events that withdraw or correct it."""
    leaf_sha256: str
    data: Any


class Story(Struct, frozen=True, kw_only=True):
    """The events of one subject, in the order in which they were recorded (or happened)."""

    park: str
    subject: str
    """Its tag."""
    time_zone: str
    order: Literal["recorded", "happened"]
    epoch: int
    position: int
    """The log had been read up to here."""
    more: bool
    """Whether there are more events after the last of these by position."""
    events: tuple[Told, ...]


class Seen(Struct, frozen=True, kw_only=True):
    """A player who was in the park on a day, as a station or a witness might remember him."""

    player: str
    person: str
    day: date
    day_pass: str
    """The newest that he was given."""
    armband: int
    group: str | None
    part: Part
    first_seen: datetime
    last_seen: datetime
    """When the first and the last of what is recorded of him on that day happened."""
    because: tuple[str, ...]
    """What names him alone among what was asked for, in words."""


class SeenPlayers(Struct, frozen=True, kw_only=True):
    """Those who fit, the ones whom something names alone first."""

    park: str
    day: date
    players: tuple[Seen, ...]


Kind = Annotated[
    Literal[
        "player", "person", "group", "marker", "mask", "bottle", "field", "game", "rotation", "chrono", "staff", "caution", "payment",
        "refund", "incident", "pass", "armband", "checks", "plan", "sessions", "detail", "legal_hold", "park", "rules", "fields", "chronos", "lightning", "first_aid", "incidents",
        "evidence", "erasures", "webhook", "webhooks", "device", "line", "pass_keys",
    ],
    Meta(description="What kind of subject it is. Where the park has one of the kind only, from `park` on, it is named as the park is."),
]  # fmt: skip
SubjectId = Annotated[RecordId, Meta(description="Which one of its kind.")]
Order = Annotated[Literal["recorded", "happened"], Meta(description="In order of recording, or of happening.")]
PositionAfter = Annotated[int, Meta(ge=0, le=2**62, description="Only what was recorded after this position.")]
Page = Annotated[int, Meta(ge=1, le=1000, description="At most so many events.")]

STORY_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/audit/stories/{kind}/{subject}",
        summary="All that the record holds about one subject, in words: what happened, under which rule, and what was decided on it.",
        roles=AUDITORS,
        answer=Story,
        parameters=(
            Parameter(
                name="order",
                kind=Order,
                description="`recorded` when absent. A part is cut out by position all the same.",
            ),
            Parameter(name="after", kind=PositionAfter, description="To read on where an answer said `more`."),
            Parameter(name="limit", kind=Page, description="500 when absent."),
            Parameter(name="until", kind=Point, description="As the log stood then."),
        ),
        problems=(*BEHIND_A_KEY, UnknownSubject, PositionAhead),
    ),
    Read(
        path="/parks/{park}/audit/players",
        summary="Who was that? By day pass or armband, or by what happened on a field between two instants.",
        roles=AUDITORS,
        answer=SeenPlayers,
        parameters=(
            Parameter(
                name="day", kind=Day, description="The operating day of the pass or armband; today's when absent."
            ),
            Parameter(name="day_pass", kind=Shown, description="The pass that was scanned or typed."),
            Parameter(name="armband", kind=DayArmband, description="The number on the armband."),
            Parameter(name="field", kind=FieldId, description="The field where something happened."),
            Parameter(name="from", kind=Instant, description="From when, with `field` and `to`."),
            Parameter(name="to", kind=Instant, description="Until when; at most a day later."),
        ),
        problems=(*BEHIND_A_KEY, UnknownSubject, *PASS_REFUSALS),
    ),
)
