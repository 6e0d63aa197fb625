"""The weather: how heat is measured, and the park's rules of when lightning and heat stop play.

They take no place of a look at the sky: whoever is in doubt stops play. Local law, the insurer's rules and licensed practice come first.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from contracts.words import Celsius

Humidity = Annotated[float, Meta(ge=0, le=100, description="Relative humidity in percent.")]
FlashToBang = Annotated[
    float, Meta(ge=0, le=120, description="Seconds from a flash to its thunder: about five for each mile.")
]
HeatDemand = Annotated[
    Literal["water_and_breaks", "shorter_games", "no_play"], Meta(description="What heat demands, the mildest first.")
]


class WetBulbGlobe(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The readings that a wet-bulb globe temperature is made of, beside the air's: in the sun unless `shade`."""

    natural_wet_bulb_c: Celsius
    globe_c: Celsius
    shade: bool = False


class _Rules(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    pass


class LightningRules(_Rules, frozen=True, kw_only=True):
    """When thunder stops play everywhere, and how long it stays stopped at least. No park can be laxer than the guideline.

    Thirty seconds from flash to bang (six miles), and thirty minutes from the last flash or thunder: guideline of the US National
    Weather Service and the NCAA, as secondary texts state it.
    """

    stop_at: Literal["first_thunder", "flash_to_bang"] = "first_thunder"
    flash_to_bang_s: Annotated[float, Meta(ge=30, le=120)] = 30.0
    """Thunder this close after its flash, or whose flash nobody timed, stops play where `stop_at` is `flash_to_bang`."""
    wait_minutes: Annotated[float, Meta(ge=30, le=240)] = 30.0
    """After the last flash or thunder; each new one begins the wait anew."""


class HeatBand(_Rules, frozen=True, kw_only=True):
    """From which wet-bulb globe temperature, and from which heat index, in °C, something is demanded. Either is enough."""

    demands: HeatDemand
    wbgt_c: Celsius
    heat_index_c: Annotated[float, Meta(ge=-60, le=150)]


class HeatRules(_Rules, frozen=True, kw_only=True):
    """The park's own bands, in any order: of those that are reached the one that demands most counts.

    Wet-bulb globe: 82, 85 and 90 °F, the green, yellow and black flag of the US Air Force (black from memory). Heat index: 90 and 103 °F
    begin the US National Weather Service's extreme caution and danger; 95 °F is common practice, no source. Rounded down in °C.
    """

    bands: tuple[HeatBand, ...] = (
        HeatBand(demands="water_and_breaks", wbgt_c=27.7, heat_index_c=32.2),
        HeatBand(demands="shorter_games", wbgt_c=29.4, heat_index_c=35.0),
        HeatBand(demands="no_play", wbgt_c=32.2, heat_index_c=39.4),
    )


class WeatherRules(_Rules, frozen=True, kw_only=True):
    """By which weather play stops."""

    lightning: LightningRules = LightningRules()
    heat: HeatRules = HeatRules()
