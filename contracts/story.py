"""A story: what the record holds about one subject, as a timeline in words, with what was known when and what was decided on it."""

from datetime import datetime
from typing import Any, Literal

from msgspec import Struct

from contracts.envelope import Clock, Reason


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
