"""What the chronograph bench remembers: each marker's strings in its present set-up, each chronograph's checks, limits, weather."""

from datetime import date, datetime
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.equipment import GearReleased, MarkerRegistered
from contracts.games import FieldConfigured
from contracts.park import WeatherRecorded
from contracts.velocity import (
    ChronoChecked,
    ChronoRegistered,
    MarkerSpotChecked,
    MarkerTested,
    SetUpChanged,
)
from services.core.fold import Evolve, Fold

HARMLESS: Final = frozenset({"refill", "squeegee", "hopper", "battery"})
"""Changes that leave the velocity as it was. Common practice, no source."""

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Tested(Struct, frozen=True):
    """One string of readings, in ft/s."""

    test: str
    chrono: str
    readings: tuple[float, ...]
    low_pressure: bool
    sealed: bool
    temperature_c: float | None
    day: date
    place: Place


class Bench(Struct, frozen=True):
    """A marker as the chronograph bench knows it: the strings of its present set-up, and what voided the ones before."""

    marker: str
    registered: bool = False
    owned: bool = False
    gas: str = "air"
    firing_mode: str = "semi"
    tests: tuple[Tested, ...] = ()
    voided: Place | None = None
    void_cause: str = ""


class Chrono(Struct, frozen=True):
    """A chronograph and its checks against a reference, in the order in which they happened."""

    chrono: str
    registered: bool = False
    checks: tuple[tuple[Place, bool, float | None], ...] = ()


class Limits(Struct, frozen=True):
    """A field's limits in ft/s; zero while it is not configured."""

    field: str
    bench: float = 0.0
    stop: float = 0.0


class Weather(Struct, frozen=True):
    temperature_c: float | None = None
    place: Place | None = None


def _registered(bench: Bench, event: Recorded[MarkerRegistered]) -> Bench:
    data = event.data
    return replace(bench, registered=True, owned=data.owner is not None, gas=data.gas, firing_mode=data.firing_mode)


def _tested(bench: Bench, event: Recorded[MarkerTested]) -> Bench:
    place = (event.occurred_at, event.position)
    if bench.voided is not None and place <= bench.voided:
        return bench
    data = event.data
    tested = Tested(
        data.test, data.chrono, data.readings_fps, data.low_pressure, data.sealed, data.temperature_c, event.day, place
    )
    return replace(bench, tests=tuple(sorted((*bench.tests, tested), key=lambda one: one.place)))


def _voided(bench: Bench, place: Place, cause: str) -> Bench:
    if bench.voided is not None and place <= bench.voided:
        return bench
    return replace(bench, voided=place, void_cause=cause, tests=tuple(one for one in bench.tests if one.place > place))


def _set_up_changed(bench: Bench, event: Recorded[SetUpChanged]) -> Bench:
    if event.data.firing_mode is not None:
        bench = replace(bench, firing_mode=event.data.firing_mode)
    if event.data.change in HARMLESS:
        return bench
    return _voided(bench, (event.occurred_at, event.position), event.data.change)


def _spot_checked(bench: Bench, event: Recorded[MarkerSpotChecked]) -> Bench:
    if event.data.finding == "under":
        return bench
    return _voided(bench, (event.occurred_at, event.position), "spot_check")


def _released(bench: Bench, event: Recorded[GearReleased]) -> Bench:
    return _voided(bench, (event.occurred_at, event.position), "repair")


def _chrono_registered(chrono: Chrono, _: Recorded[ChronoRegistered]) -> Chrono:
    return replace(chrono, registered=True)


def _checked(chrono: Chrono, event: Recorded[ChronoChecked]) -> Chrono:
    check = ((event.occurred_at, event.position), event.data.good, event.data.bias_fps)
    return replace(chrono, checks=tuple(sorted((*chrono.checks, check), key=lambda one: one[0])))


def _configured(limits: Limits, event: Recorded[FieldConfigured]) -> Limits:
    return replace(limits, bench=event.data.limit_fps, stop=event.data.stop_limit_fps)


def _weather(weather: Weather, event: Recorded[WeatherRecorded]) -> Weather:
    place = (event.occurred_at, event.position)
    if weather.place is not None and place < weather.place:
        return weather
    return Weather(event.data.temperature_c, place)


_BENCH: dict[type[Data], Evolve[Bench]] = {
    MarkerRegistered: _registered,
    MarkerTested: _tested,
    SetUpChanged: _set_up_changed,
    MarkerSpotChecked: _spot_checked,
    GearReleased: _released,
}
BENCH: Fold[Bench] = Fold("velocity.bench", "marker", Bench, _BENCH)
CHRONO: Fold[Chrono] = Fold(
    "velocity.chrono", "chrono", Chrono, {ChronoRegistered: _chrono_registered, ChronoChecked: _checked}
)
LIMITS: Fold[Limits] = Fold("velocity.limits", "field", Limits, {FieldConfigured: _configured})
WEATHER: Fold[Weather] = Fold("velocity.weather", "park", lambda _: Weather(), {WeatherRecorded: _weather})
