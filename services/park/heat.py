"""Heat: how hot it is for whoever plays in a mask and long sleeves, and what the park's rules demand then.

The wet-bulb globe temperature weighs humidity, sun and wind together and is to be preferred; the heat index knows only the shade. Both
are measures of the air, not of a person: who feels unwell stops, and heat stroke is an emergency. Local law comes first.
"""

from math import sqrt
from typing import Final

from msgspec import Struct

from contracts.park import WeatherRecorded
from contracts.rules import Rules
from contracts.weather import HeatDemand, WetBulbGlobe

MILDEST_FIRST: Final[tuple[HeatDemand, ...]] = ("water_and_breaks", "shorter_games", "no_play")
ADVICE: Final[dict[HeatDemand, str]] = {
    "water_and_breaks": "Heat: water for everybody, and a break in the shade after each game.",
    "shorter_games": "Heat: shorter games, longer breaks in the shade, water for everybody.",
    "no_play": "Heat: no play. Everybody into the shade, with water.",
}
"""Common practice, no source."""


class Hot(Struct, frozen=True):
    """How hot it is, in °C, by each measure that was taken."""

    wbgt_c: float | None
    heat_index_c: float | None


def hot(weather: WeatherRecorded) -> Hot:
    """By both measures, as far as what they need was recorded."""
    globe, humidity = weather.wet_bulb_globe, weather.humidity_percent
    return Hot(
        wbgt_c=None if globe is None else wet_bulb_globe(globe, weather.temperature_c),
        heat_index_c=None if humidity is None else celsius(heat_index_f(fahrenheit(weather.temperature_c), humidity)),
    )


def demanded(found: Hot, rules: Rules) -> HeatDemand | None:
    """What the bands that are reached demand: the most that any does by either measure; None where none is reached."""
    reached = {
        band.demands
        for band in rules.weather.heat.bands
        if _reached(found.wbgt_c, band.wbgt_c) or _reached(found.heat_index_c, band.heat_index_c)
    }
    return max(reached, key=MILDEST_FIRST.index, default=None)


def _reached(measured: float | None, threshold: float) -> bool:
    return measured is not None and measured >= threshold


def wet_bulb_globe(globe: WetBulbGlobe, air_c: float) -> float:
    """0.7 natural wet bulb + 0.2 globe + 0.1 air in the sun; 0.7 and 0.3 without the air in the shade (ISO 7243, from memory). In °C."""
    if globe.shade:
        return 0.7 * globe.natural_wet_bulb_c + 0.3 * globe.globe_c
    return 0.7 * globe.natural_wet_bulb_c + 0.2 * globe.globe_c + 0.1 * air_c


def heat_index_f(air_f: float, humidity: float) -> float:
    """The US National Weather Service's heat index, in °F, of the air in °F and relative humidity in percent.

    Rothfusz's regression with both its adjustments; where Steadman's simpler mean stays under 80 °F, that.
    """
    simple = (air_f + 0.5 * (air_f + 61.0 + (air_f - 68.0) * 1.2 + humidity * 0.094)) / 2
    if simple < 80.0:
        return simple
    return _rothfusz(air_f, humidity) + _adjustment(air_f, humidity)


def _rothfusz(t: float, r: float) -> float:
    return (
        -42.379
        + 2.04901523 * t
        + 10.14333127 * r
        - 0.22475541 * t * r
        - 0.00683783 * t * t
        - 0.05481717 * r * r
        + 0.00122874 * t * t * r
        + 0.00085282 * t * r * r
        - 0.00000199 * t * t * r * r
    )


def _adjustment(t: float, r: float) -> float:
    """Dry air from 80 to 112 °F feels cooler, very damp air from 80 to 87 °F warmer than the regression says."""
    if r < 13.0 and 80.0 <= t <= 112.0:
        return -(13.0 - r) / 4 * sqrt((17.0 - abs(t - 95.0)) / 17.0)
    if r > 85.0 and 80.0 <= t <= 87.0:
        return (r - 85.0) / 10 * (87.0 - t) / 5
    return 0.0


def fahrenheit(degrees_c: float) -> float:
    """Exact."""
    return degrees_c * 9 / 5 + 32


def celsius(degrees_f: float) -> float:
    """Exact."""
    return (degrees_f - 32) * 5 / 9
