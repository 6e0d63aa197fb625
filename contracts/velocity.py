"""Velocity testing: chronographs, strings of readings, changes of set-up, spot checks on the field."""

from typing import Annotated, ClassVar, Literal

from msgspec import Meta

from contracts.envelope import Command, Data
from contracts.words import (
    Celsius,
    ChronoId,
    FieldId,
    FiringMode,
    GameId,
    MarkerId,
    PlayerId,
    RecordId,
    Role,
    Speed,
)

CHRONO: frozenset[Role] = frozenset({"chrono", "manager"})
BENCH_AND_FIELD: frozenset[Role] = frozenset({"chrono", "gear", "staging", "referee", "head_referee", "manager"})
Readings = Annotated[tuple[Speed, ...], Meta(min_length=1, max_length=50)]
Change = Annotated[
    Literal[
        "adjuster", "regulator", "bolt", "barrel", "bottle", "gas", "paint", "repair", "firing_mode",
        "refill", "squeegee", "hopper", "battery",
    ],
    Meta(description="The last four leave the velocity as it was; every other change voids the marker's test."),
]  # fmt: skip
Bias = Annotated[float, Meta(ge=-100, le=100, description="Reading minus reference, in feet per second.")]


class ChronoRegistered(Data, frozen=True, kw_only=True):
    chrono: ChronoId


class RegisterChrono(Command, frozen=True, kw_only=True):
    """Enter a chronograph. It counts once it has been checked against a reference."""

    ROLES: ClassVar[frozenset[Role]] = CHRONO
    chrono: ChronoId


class ChronoChecked(Data, frozen=True, kw_only=True):
    chrono: ChronoId
    good: bool
    bias_fps: Bias | None


class CheckChrono(Command, frozen=True, kw_only=True):
    """Record a check of a chronograph against a reference. A bad check closes it, with its bias if that is known."""

    ROLES: ClassVar[frozenset[Role]] = CHRONO
    FACT: ClassVar[bool] = True
    chrono: ChronoId
    good: bool
    bias_fps: Bias | None = None


class MarkerTested(Data, frozen=True, kw_only=True):
    """Version 1 held one number a reading and did not know the temperature or the sealed adjuster."""

    VERSION: ClassVar[int] = 2
    test: RecordId
    marker: MarkerId
    chrono: ChronoId
    readings_fps: Readings
    low_pressure: bool
    sealed: bool
    temperature_c: Celsius | None


class MarkerTestedV1(Data, frozen=True, kw_only=True):
    test: RecordId
    marker: MarkerId
    chrono: ChronoId
    readings: Readings


class TestMarker(Command, frozen=True, kw_only=True):
    """Record a string of readings of one marker in one set-up. It belongs to the marker, whoever holds it; no reading is struck out for being high."""

    __test__: ClassVar[bool] = False
    ROLES: ClassVar[frozenset[Role]] = CHRONO
    FACT: ClassVar[bool] = True
    test: RecordId
    marker: MarkerId
    chrono: ChronoId
    readings_fps: Readings
    low_pressure: bool = False
    """The bottle or regulator was seen to be low: the string decides nothing."""
    sealed: bool = False
    """The adjuster is sealed: a hired marker so tested stays tested until its set-up changes."""
    temperature_c: Celsius | None = None


class SetUpChanged(Data, frozen=True, kw_only=True):
    marker: MarkerId
    change: Change
    firing_mode: FiringMode | None


class ChangeSetUp(Command, frozen=True, kw_only=True):
    """Record a change to a marker, whoever made it. Whether it voids the test follows from its kind."""

    ROLES: ClassVar[frozenset[Role]] = BENCH_AND_FIELD
    FACT: ClassVar[bool] = True
    marker: MarkerId
    change: Change
    firing_mode: FiringMode | None = None
    """The mode it is set to now, where that is what changed."""


class MarkerSpotChecked(Data, frozen=True, kw_only=True):
    check: RecordId
    marker: MarkerId
    field: FieldId
    game: GameId | None
    player: PlayerId | None
    speed_fps: Speed
    bench_limit_fps: Speed
    stop_limit_fps: Speed
    finding: Literal["under", "over_bench", "over_stop"]


class SpotCheckMarker(Command, frozen=True, kw_only=True):
    """Record one reading taken on a field. At or over the bench limit: cover on, off the field, retest. It is no caution: only tampering is."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"referee", "head_referee", "chrono", "manager"})
    FACT: ClassVar[bool] = True
    check: RecordId
    marker: MarkerId
    field: FieldId
    game: GameId | None = None
    player: PlayerId | None = None
    speed_fps: Speed
