"""The chronographs as instruments: whether each can be trusted now, the charts of its checks, and what became of what it measured."""

from datetime import datetime
from typing import Annotated, Final, Literal

from msgspec import Meta, Struct

from contracts.envelope import Basis
from contracts.problems import UnknownSubject
from contracts.read import BEHIND_A_KEY, Read
from contracts.velocity import Signal
from contracts.words import Role

WATCHING: Final[frozenset[Role]] = frozenset(
    {"chrono", "gear", "staging", "referee", "head_referee", "manager", "auditor"}
)
Doubt = Annotated[
    Literal["never_checked", "worked_on", "closed", "check_overdue", "not_understood"],
    Meta(
        description=(
            "Why what a chronograph reads does not count: no check before it; work and no check since; its last check was not good; "
            "its last check is too long ago; its record holds something that this software cannot read."
        )
    ),
]
Treatment = Annotated[
    Literal["stays_cleared", "retest", "reaches_limit", "bias_unknown", "set_up_changed"],
    Meta(
        description=(
            "Its string counts; it passes with what the chronograph was off added, and is measured again at its next staging; so corrected it "
            "does not pass; how far off is not known, so it does not count; its set-up has changed since, so it is measured anew in any case."
        )
    ),
]


class _Shown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is not known or does not apply is left out."""


class Standing(_Shown, frozen=True, kw_only=True):
    """Whether a chronograph can be trusted now."""

    chrono: str
    trusted: bool
    sentence: str
    """Trusted or not and why, and what to do."""
    doubt: Doubt | None = None
    checked_at: datetime | None = None
    good_until: datetime | None = None
    """When its next check is due; absent while only a good check opens it."""


class ChartPoint(_Shown, frozen=True, kw_only=True):
    """One check, and where it lies on the charts. Values in ft/s, chronograph less reference; each chart's limits lie at ± its own around 0."""

    at: datetime
    good: bool
    shots: int
    """How many shots both read; 0: a person's word."""
    signals: tuple[Signal, ...]
    """Why it was not good when it was made."""
    bias_fps: float | None = None
    single_limit_fps: float | None = None
    """Of a single check (Shewhart)."""
    mean_fps: float | None = None
    """The exponentially weighted mean after it (EWMA)."""
    mean_limit_fps: float | None = None
    beyond: tuple[Signal, ...] = ()
    """The limits that it lies beyond on the charts as they are known now: what was told late is in its place."""


class MeasuredMarker(_Shown, frozen=True, kw_only=True):
    """A marker that a chronograph measured, and what its string is worth now as far as chronographs go."""

    marker: str
    test: str
    at: datetime
    treatment: Treatment
    sentence: str
    not_cleared_for: tuple[str, ...] = ()
    """Fields whose limit it passed as it was read, and does not pass corrected."""
    holder: str | None = None
    armband: int | None = None
    on_field: str | None = None
    """The field that its holder is on now."""


class Disagreeing(_Shown, frozen=True, kw_only=True):
    """Another chronograph that reads otherwise of the same markers in the same set-up. Speeds in ft/s, this one's less the other's."""

    other: str
    n: int
    """Markers that both measured."""
    bias_fps: float
    lower_fps: float
    upper_fps: float
    """The interval of the bias, of the confidence that the rule's risk leaves."""
    p: float
    """How likely so large a difference is between chronographs that agree."""
    sentence: str
    against: str | None = None
    """The one of the two that its own checks speak against, where they speak against one."""


class Chronograph(Standing, frozen=True, kw_only=True):
    """A chronograph, its checks since the last work, and what it measured since its last good check or is in doubt since."""

    checks: tuple[ChartPoint, ...]
    works: tuple[datetime, ...]
    markers: tuple[MeasuredMarker, ...]
    disagreements: tuple[Disagreeing, ...]
    basis: Basis


class Chronographs(Struct, frozen=True, kw_only=True):
    """Every chronograph of the park."""

    chronos: tuple[Standing, ...]
    basis: Basis


CHRONO_READS: Final = (
    Read(
        path="/parks/{park}/velocity/chronos",
        summary="Every chronograph: can it be trusted now, and what is to be done?",
        roles=WATCHING,
        answer=Chronographs,
    ),
    Read(
        path="/parks/{park}/velocity/chronos/{chrono}",
        summary="One chronograph: the charts of its checks, what it measured and how that is treated, and which others read otherwise.",
        roles=WATCHING,
        answer=Chronograph,
        problems=(*BEHIND_A_KEY, UnknownSubject),
    ),
)
