"""Velocity testing: chronographs and their checks, strings of readings, changes of set-up, spot checks on the field."""

from typing import Annotated, ClassVar, Literal

from msgspec import Meta, Struct

from contracts.envelope import Command, Data
from contracts.limits import Mass, Rate
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
OldReadings = Annotated[tuple[Speed, ...], Meta(min_length=1, max_length=50)]
Readings = Annotated[tuple[Speed, ...], Meta(max_length=50)]
Change = Annotated[
    Literal[
        "adjuster", "regulator", "bolt", "barrel", "bottle", "gas", "paint", "repair", "firing_mode",
        "refill", "squeegee", "hopper", "battery",
    ],
    Meta(description="The last four leave the velocity as it was; every other change voids the marker's test."),
]  # fmt: skip
Bias = Annotated[float, Meta(ge=-2000, le=2000, description="Reading minus reference, in feet per second.")]
MisreadKind = Annotated[
    Literal["no_shot", "double_trigger", "beam_lost", "impossible"],
    Meta(
        description=(
            "No shot was fired (zero, or slower than any shot); two events in the beam; the beam lost the shot; "
            "a speed that cannot be true."
        )
    ),
]
Signal = Annotated[
    Literal["person", "bias", "shewhart", "ewma", "too_few"],
    Meta(
        description=(
            "Why a check is not good: a person says so; the bias is over the rule's; the single check or the moving mean is "
            "beyond its chart's limits; fewer shots than the rule asks for, which alone neither opens nor closes it."
        )
    ),
]
Source = Annotated[Literal["instrument", "typed"], Meta(description="Sent by the chronograph itself, or typed off it.")]
Work = Literal["battery", "sensor", "moved", "repair", "settings", "other"]


class Misread(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the chronograph showed and no reading is: kept as evidence, beside the readings. `after`: how many of those came before it."""

    kind: MisreadKind
    speed_fps: Speed | None
    after: Annotated[int, Meta(ge=0, le=50)]


Misreads = Annotated[tuple[Misread, ...], Meta(max_length=50)]
SortedOut = Annotated[
    tuple[Misread, ...], Meta(max_length=100, description="Those that somebody named, and those by the rules.")
]


class ChronoRegistered(Data, frozen=True, kw_only=True):
    ALSO: ClassVar[tuple[str, ...]] = ("chronos",)
    chrono: ChronoId


class RegisterChrono(Command, frozen=True, kw_only=True):
    """Enter a chronograph. It counts once it has been checked against a reference."""

    ROLES: ClassVar[frozenset[Role]] = CHRONO
    chrono: ChronoId


class ChronoChecked(Data, frozen=True, kw_only=True):
    """Version 1 had no readings: a person said whether the check was good. `bias_fps` is the mean of readings less references."""

    VERSION: ClassVar[int] = 2
    ALSO: ClassVar[tuple[str, ...]] = ("chronos",)
    chrono: ChronoId
    good: bool
    bias_fps: Bias | None
    readings_fps: Readings
    reference_fps: Readings
    signals: tuple[Signal, ...]
    """Why it is not good; empty where it is."""


class ChronoCheckedV1(Data, frozen=True, kw_only=True):
    chrono: ChronoId
    good: bool
    bias_fps: Bias | None


class CheckChrono(Command, frozen=True, kw_only=True):
    """Record a check of a chronograph against a reference: what both read of the same shots, in their order.

    The charts of the park's rules decide whether it is good; a person who says `good: false` closes it in any case. Without readings
    his word and the bias that he gives are the check; what figures closed his word alone does not open. One of too few shots that shows
    nothing amiss neither opens nor closes.
    """

    ROLES: ClassVar[frozenset[Role]] = CHRONO
    FACT: ClassVar[bool] = True
    CLAIMS: ClassVar[str] = "chrono"
    chrono: ChronoId
    good: bool = True
    bias_fps: Bias | None = None
    readings_fps: Readings = ()
    reference_fps: Readings = ()


class ChronoAdjusted(Data, frozen=True, kw_only=True):
    ALSO: ClassVar[tuple[str, ...]] = ("chronos",)
    chrono: ChronoId
    work: Work


class AdjustChrono(Command, frozen=True, kw_only=True):
    """Record work on a chronograph. Its charts begin anew, and what it measures counts only after its next good check: check it before, too."""

    ROLES: ClassVar[frozenset[Role]] = CHRONO
    FACT: ClassVar[bool] = True
    chrono: ChronoId
    work: Work


class MarkerTested(Data, frozen=True, kw_only=True):
    """Version 1 held one number a reading and did not know the temperature or the sealed adjuster; version 2 no misreads, paint or rate."""

    VERSION: ClassVar[int] = 3
    test: RecordId
    marker: MarkerId
    chrono: ChronoId
    readings_fps: Readings
    misreads: SortedOut
    low_pressure: bool
    sealed: bool
    temperature_c: Celsius | None
    ball_g: Mass | None
    rate_bps: Rate | None


class MarkerTestedV2(Data, frozen=True, kw_only=True):
    test: RecordId
    marker: MarkerId
    chrono: ChronoId
    readings_fps: OldReadings
    low_pressure: bool
    sealed: bool
    temperature_c: Celsius | None


class MarkerTestedV1(Data, frozen=True, kw_only=True):
    test: RecordId
    marker: MarkerId
    chrono: ChronoId
    readings: OldReadings


class TestMarker(Command, frozen=True, kw_only=True):
    """Record a string of readings of one marker in one set-up. It belongs to the marker, whoever holds it; no reading is struck out for being high."""

    __test__: ClassVar[bool] = False
    ROLES: ClassVar[frozenset[Role]] = CHRONO
    FACT: ClassVar[bool] = True
    test: RecordId
    marker: MarkerId
    chrono: ChronoId
    readings_fps: Annotated[Readings, Meta(min_length=1)]
    """All that the chronograph showed, in its order. What the rules say is no reading is kept as a misread."""
    misreads: Misreads = ()
    """What the person or the instrument says was none. Where it is as fast as a limit, the string decides nothing."""
    low_pressure: bool = False
    """The bottle or regulator was seen to be low: the string decides nothing."""
    sealed: bool = False
    """The adjuster is sealed: a hired marker so tested stays tested until its set-up changes."""
    temperature_c: Celsius | None = None
    ball_g: Mass | None = None
    """The mass of the paint that was shot, weighed; the rule's for the calibre where it is absent."""
    rate_bps: Rate | None = None
    """The highest rate of fire that was seen."""


class StringOpened(Data, frozen=True, kw_only=True):
    test: RecordId
    marker: MarkerId
    chrono: ChronoId
    sealed: bool
    temperature_c: Celsius | None
    ball_g: Mass | None
    rate_bps: Rate | None


class OpenString(Command, frozen=True, kw_only=True):
    """Begin a string: what the chronograph reads from now on is of this marker, until the string is full or ended.

    One that is open on this chronograph is ended first, with what it has.
    """

    ROLES: ClassVar[frozenset[Role]] = CHRONO
    test: RecordId
    marker: MarkerId
    chrono: ChronoId
    sealed: bool = False
    temperature_c: Celsius | None = None
    ball_g: Mass | None = None
    rate_bps: Rate | None = None


class ReadingTaken(Data, frozen=True, kw_only=True):
    """What a chronograph showed, as it came. `test` is the string that was open; without one it is of no marker that the record knows."""

    chrono: ChronoId
    test: RecordId | None
    marker: MarkerId | None
    speed_fps: Speed | None
    misread: MisreadKind | None
    source: Source


class TakeReading(Command, frozen=True, kw_only=True):
    """Record what the chronograph shows. With the last reading that its string needs, the marker's test is recorded too."""

    ROLES: ClassVar[frozenset[Role]] = CHRONO
    FACT: ClassVar[bool] = True
    CLAIMS: ClassVar[str] = "chrono"
    chrono: ChronoId
    speed_fps: Speed | None = None
    misread: MisreadKind | None = None
    """What the instrument itself, or the person, says is wrong with it."""
    source: Source = "instrument"


class StringAbandoned(Data, frozen=True, kw_only=True):
    """A string was ended before anything was read."""

    test: RecordId
    marker: MarkerId
    chrono: ChronoId


class EndString(Command, frozen=True, kw_only=True):
    """End the string that is open on a chronograph, with what it has: a test that is short decides nothing, unless it was too fast."""

    ROLES: ClassVar[frozenset[Role]] = CHRONO
    FACT: ClassVar[bool] = True
    CLAIMS: ClassVar[str] = "chrono"
    chrono: ChronoId
    low_pressure: bool = False


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
    """The strictest of all limits for this marker's ball, in ft/s."""
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


class SpotCheckVoided(Data, frozen=True, kw_only=True):
    """Whoever took a reading says that he noted it wrongly: another marker, or another speed."""

    check: RecordId
    marker: MarkerId
    field: FieldId


class VoidSpotCheck(Command, frozen=True, kw_only=True):
    """Withdraw a spot check that was noted wrongly. Nobody strikes out a high reading: a marker that was too fast is tested again all the same."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"referee", "head_referee", "chrono", "manager"})
    FACT: ClassVar[bool] = True
    check: RecordId
    marker: MarkerId
