"""The park itself: its operating days, its rules, its weather."""

from typing import Annotated, ClassVar

from msgspec import Meta, Struct

from contracts.envelope import Command, Data
from contracts.games import ANY_STAFF
from contracts.rules import Rules
from contracts.weather import FlashToBang, Humidity, WetBulbGlobe
from contracts.words import Celsius, Day, Role

MANAGER: frozenset[Role] = frozenset({"manager"})
People = Annotated[int, Meta(ge=0, le=100_000)]


class DayOpened(Data, frozen=True, kw_only=True):
    """The park's own story of the day begins here: yesterday's holds and duties are over."""

    ALSO: ClassVar[tuple[str, ...]] = ("park",)
    CARRIES: ClassVar[frozenset[str]] = frozenset({"park"})
    opened: Day


class OpenDay(Command, frozen=True, kw_only=True):
    """Open an operating day, once the opening checks are done."""

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    opened: Day


class DayClosed(Data, frozen=True, kw_only=True):
    """The day is over; how many of its players were not recorded as having left, and how many of these are minors. None: not known.

    Version 1 did not say.
    """

    VERSION: ClassVar[int] = 2
    ALSO: ClassVar[tuple[str, ...]] = ("park",)
    closed: Day
    still_here: People | None
    minors_here: People | None


class DayClosedV1(Data, frozen=True, kw_only=True):
    ALSO: ClassVar[tuple[str, ...]] = ("park",)
    closed: Day


class CloseDay(Command, frozen=True, kw_only=True):
    """Record that an operating day is closed, with how many had not left by then. It bars nothing: what is told of it later is recorded all the same."""

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    FACT: ClassVar[bool] = True
    closed: Day


class RulesAdopted(Data, frozen=True, kw_only=True):
    """It does not begin the story of the rules anew: what happened under an earlier version is judged by that one."""

    ALSO: ClassVar[tuple[str, ...]] = ("rules",)
    rules: Rules


class AdoptRules(Command, frozen=True, kw_only=True):
    """Adopt a version of the park rules. It holds from then on, for everyone alike."""

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    rules: Rules


class WeatherRecorded(Data, frozen=True, kw_only=True):
    """Version 1 knew the temperature only. What is absent was not measured."""

    VERSION: ClassVar[int] = 2
    ALSO: ClassVar[tuple[str, ...]] = ("park",)
    temperature_c: Celsius
    humidity_percent: Humidity | None = None
    wet_bulb_globe: WetBulbGlobe | None = None


class WeatherRecordedV1(Data, frozen=True, kw_only=True):
    ALSO: ClassVar[tuple[str, ...]] = ("park",)
    temperature_c: Celsius


class RecordWeather(Command, frozen=True, kw_only=True):
    """Record the air temperature in the shade at staging, and what was measured of the heat.

    Where the park's rules say no play, every field is held in the same breath, until a person lifts that in weather that allows it.
    """

    ROLES: ClassVar[frozenset[Role]] = frozenset({"chrono", "staging", "first_aider", "head_referee", "manager"})
    FACT: ClassVar[bool] = True
    CLAIMS: ClassVar[str] = "park"
    temperature_c: Celsius
    humidity_percent: Humidity | None = None
    wet_bulb_globe: WetBulbGlobe | None = None


class ThunderHeard(Data, frozen=True, kw_only=True):
    """`flash_to_bang_s` is absent where nobody timed it."""

    ALSO: ClassVar[tuple[str, ...]] = ("park", "lightning")
    flash_to_bang_s: FlashToBang | None


class RecordThunder(Command, frozen=True, kw_only=True):
    """Record that thunder was heard. Where the park's rules ask for it, every field is held in the same breath.

    Nobody lifts a hold by the weather before the rules' time after the last flash or thunder. Take shelter in a building or a car.
    """

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    CLAIMS: ClassVar[str] = "lightning"
    flash_to_bang_s: FlashToBang | None = None


class FlashSeen(Data, frozen=True, kw_only=True):
    """Lightning whose thunder nobody heard."""

    ALSO: ClassVar[tuple[str, ...]] = ("park", "lightning")


class RecordFlash(Command, frozen=True, kw_only=True):
    """Record a flash of lightning without thunder. It stops nothing by itself, and begins the wait anew where play is stopped."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True


class Briefing(Struct, frozen=True, kw_only=True):
    """What the park's visitors hear before they play, in the version in force, and the cautions that no rule can waive."""

    park: str
    rules: str
    version: int
    urgent_version: int
    """Everybody must have heard at least this version, arrivals of earlier included."""
    text: str
    cautions: tuple[str, ...]
