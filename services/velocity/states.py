"""What the chronograph bench remembers: each marker's strings in its present set-up, each chronograph's checks, limits, weather."""

from datetime import date, datetime
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.equipment import GearReleased, MarkerRegistered
from contracts.games import FieldConfigured
from contracts.limits import Limit
from contracts.park import WeatherRecorded
from contracts.velocity import (
    ChronoAdjusted,
    ChronoChecked,
    ChronoRegistered,
    MarkerSpotChecked,
    MarkerTested,
    Misread,
    ReadingTaken,
    SetUpChanged,
    Signal,
    StringAbandoned,
    StringOpened,
)
from contracts.words import Calibre, FiringMode, Gas
from services.core.fold import Evolve, Fold

HARMLESS: Final = frozenset({"refill", "squeegee", "hopper", "battery"})
"""Changes that leave the velocity as it was. Common practice, no source."""

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Tested(Struct, frozen=True):
    """One string of readings, in ft/s; its misreads beside them."""

    test: str
    chrono: str
    readings: tuple[float, ...]
    misreads: tuple[Misread, ...]
    low_pressure: bool
    sealed: bool
    temperature_c: float | None
    ball_g: float | None
    rate_bps: float | None
    day: date
    place: Place
    begun: Place
    """When its string was opened; `place` itself where it was recorded whole."""


class Bench(Struct, frozen=True):
    """A marker as the chronograph bench knows it: the strings of its present set-up, and what voided the ones before."""

    marker: str
    registered: bool = False
    owned: bool = False
    calibre: Calibre | None = None
    gas: Gas | None = "air"
    """None once it was changed: the record does not say to which."""
    firing_mode: FiringMode = "semi"
    mode_since: Place | None = None
    tests: tuple[Tested, ...] = ()
    opened: tuple[Tested, ...] = ()
    """Strings that are being shot, with what they read so far: none of them passes yet, and what is too fast is so already."""
    voided: Place | None = None
    void_cause: str = ""


def decides(signals: tuple[Signal, ...]) -> bool:
    """Whether a check with these signals says anything of the chronograph: one of too few shots that shows nothing amiss does not."""
    return signals != ("too_few",)


class Check(Struct, frozen=True):
    """One check of a chronograph against a reference; its bias in ft/s where that is known. `shots`: how many were read, 0 by a person's word."""

    place: Place
    good: bool
    bias_fps: float | None
    shots: int
    signals: tuple[Signal, ...]

    @property
    def decides(self) -> bool:
        return decides(self.signals)


class Chrono(Struct, frozen=True):
    """A chronograph: its checks and the works on it, each in the order in which they happened."""

    chrono: str
    registered: bool = False
    checks: tuple[Check, ...] = ()
    works: tuple[Place, ...] = ()


class Limits(Struct, frozen=True):
    """A field's limits in ft/s, zero while it is not configured, and what else it states."""

    field: str
    bench: float = 0.0
    stop: float = 0.0
    limit: Limit = Limit()


class Weather(Struct, frozen=True):
    temperature_c: float | None = None
    place: Place | None = None


def _registered(bench: Bench, event: Recorded[MarkerRegistered]) -> Bench:
    data = event.data
    return replace(
        bench,
        registered=True,
        owned=data.owner is not None,
        calibre=data.calibre,
        gas=data.gas,
        firing_mode=data.firing_mode,
    )


def _opened(bench: Bench, event: Recorded[StringOpened]) -> Bench:
    data, place = event.data, (event.occurred_at, event.position)
    opened = Tested(
        test=data.test,
        chrono=data.chrono,
        readings=(),
        misreads=(),
        low_pressure=False,
        sealed=data.sealed,
        temperature_c=data.temperature_c,
        ball_g=data.ball_g,
        rate_bps=data.rate_bps,
        day=event.day,
        place=place,
        begun=place,
    )
    return replace(bench, opened=(*_others(bench, data), opened))


def _taken(bench: Bench, event: Recorded[ReadingTaken]) -> Bench:
    data = event.data
    if data.speed_fps is None or data.misread is not None:
        return bench
    read = (data.speed_fps,)
    return replace(
        bench,
        opened=tuple(replace(one, readings=one.readings + read) if _is(one, data) else one for one in bench.opened),
    )


def _abandoned(bench: Bench, event: Recorded[StringAbandoned]) -> Bench:
    return replace(bench, opened=_others(bench, event.data))


def _is(one: Tested, data: StringOpened | ReadingTaken | MarkerTested | StringAbandoned) -> bool:
    return (one.test, one.chrono) == (data.test, data.chrono)


def _others(bench: Bench, data: StringOpened | MarkerTested | StringAbandoned) -> tuple[Tested, ...]:
    return tuple(one for one in bench.opened if not _is(one, data))


def _tested(bench: Bench, event: Recorded[MarkerTested]) -> Bench:
    """A string counts from when it was opened: a change of set-up amid its shots voids all of it."""
    data = event.data
    place = (event.occurred_at, event.position)
    begun = min([place, *(one.begun for one in bench.opened if _is(one, data))])
    bench = replace(bench, opened=_others(bench, data))
    if bench.voided is not None and begun <= bench.voided:
        return bench
    tested = Tested(
        test=data.test,
        chrono=data.chrono,
        readings=data.readings_fps,
        misreads=data.misreads,
        low_pressure=data.low_pressure,
        sealed=data.sealed,
        temperature_c=data.temperature_c,
        ball_g=data.ball_g,
        rate_bps=data.rate_bps,
        day=event.day,
        place=place,
        begun=begun,
    )
    return replace(bench, tests=tuple(sorted((*bench.tests, tested), key=lambda one: one.place)))


def _voided(bench: Bench, place: Place, cause: str) -> Bench:
    if bench.voided is not None and place <= bench.voided:
        return bench
    tests = tuple(one for one in bench.tests if one.begun > place)
    return replace(bench, voided=place, void_cause=cause, tests=tests)


def _set_up_changed(bench: Bench, event: Recorded[SetUpChanged]) -> Bench:
    """What names another firing mode is no harmless change, whatever it is called."""
    change, mode, place = event.data.change, event.data.firing_mode, (event.occurred_at, event.position)
    harmless = change in HARMLESS and mode in {None, bench.firing_mode}
    if mode is not None and (bench.mode_since is None or place > bench.mode_since):
        bench = replace(bench, firing_mode=mode, mode_since=place)
    if change == "gas":
        bench = replace(bench, gas=None)
    return bench if harmless else _voided(bench, place, change)


def _spot_checked(bench: Bench, event: Recorded[MarkerSpotChecked]) -> Bench:
    if event.data.finding == "under":
        return bench
    return _voided(bench, (event.occurred_at, event.position), "spot_check")


def _released(bench: Bench, event: Recorded[GearReleased]) -> Bench:
    return _voided(bench, (event.occurred_at, event.position), "repair")


def _chrono_registered(chrono: Chrono, _: Recorded[ChronoRegistered]) -> Chrono:
    return replace(chrono, registered=True)


def _checked(chrono: Chrono, event: Recorded[ChronoChecked]) -> Chrono:
    data = event.data
    check = Check((event.occurred_at, event.position), data.good, data.bias_fps, len(data.reference_fps), data.signals)
    return replace(chrono, checks=tuple(sorted((*chrono.checks, check), key=lambda one: one.place)))


def _adjusted(chrono: Chrono, event: Recorded[ChronoAdjusted]) -> Chrono:
    return replace(chrono, works=tuple(sorted((*chrono.works, (event.occurred_at, event.position)))))


def _configured(limits: Limits, event: Recorded[FieldConfigured]) -> Limits:
    return replace(limits, bench=event.data.limit_fps, stop=event.data.stop_limit_fps, limit=event.data.limit)


def _weather(weather: Weather, event: Recorded[WeatherRecorded]) -> Weather:
    place = (event.occurred_at, event.position)
    if weather.place is not None and place < weather.place:
        return weather
    return Weather(event.data.temperature_c, place)


_BENCH: dict[type[Data], Evolve[Bench]] = {
    MarkerRegistered: _registered,
    StringOpened: _opened,
    ReadingTaken: _taken,
    StringAbandoned: _abandoned,
    MarkerTested: _tested,
    SetUpChanged: _set_up_changed,
    MarkerSpotChecked: _spot_checked,
    GearReleased: _released,
}
BENCH: Fold[Bench] = Fold("velocity.bench", "marker", Bench, _BENCH)
_CHRONO: dict[type[Data], Evolve[Chrono]] = {
    ChronoRegistered: _chrono_registered,
    ChronoChecked: _checked,
    ChronoAdjusted: _adjusted,
}
CHRONO: Fold[Chrono] = Fold("velocity.chrono", "chrono", Chrono, _CHRONO)
LIMITS: Fold[Limits] = Fold("velocity.limits", "field", Limits, {FieldConfigured: _configured})
WEATHER: Fold[Weather] = Fold("velocity.weather", "park", lambda _: Weather(), {WeatherRecorded: _weather})
