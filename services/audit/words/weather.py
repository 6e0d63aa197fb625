"""The weather, and the park's rules about it, in words."""

from collections.abc import Iterable

from contracts.park import ThunderHeard, WeatherRecorded
from contracts.weather import HeatRules, LightningRules
from services.audit.words.scene import spoken
from services.park.heat import hot
from services.park.lightning import miles


def weather(data: WeatherRecorded) -> str:
    """`27 °C in the shade, at 62 % humidity (heat index 28.2 °C), wet-bulb globe temperature 26.7 °C`."""
    found, told = hot(data), [f"{data.temperature_c:g} °C in the shade"]
    if found.heat_index_c is not None:
        told.append(f"at {data.humidity_percent:g} % humidity (heat index {found.heat_index_c:.1f} °C)")
    if found.wbgt_c is not None:
        told.append(f"wet-bulb globe temperature {found.wbgt_c:.1f} °C")
    return ", ".join(told)


def thunder(data: ThunderHeard) -> str:
    """`thunder 22 seconds after its flash (about 4.4 miles away)`."""
    if data.flash_to_bang_s is None:
        return "thunder"
    return (
        f"thunder {data.flash_to_bang_s:g} seconds after its flash (about {miles(data.flash_to_bang_s):.1f} miles away)"
    )


def lightning(rules: LightningRules) -> str:
    """The rule of when lightning stops play, as one sentence."""
    near = f"thunder at most {rules.flash_to_bang_s:g} seconds after its flash, or that nobody timed,"
    which = "the first thunder" if rules.stop_at == "first_thunder" else near
    return f"Lightning: {which} stops play everywhere; it is resumed at the earliest {rules.wait_minutes:g} minutes after the last flash or thunder."


def bands(rules: HeatRules) -> Iterable[str]:
    """What heat demands, a sentence for each band."""
    for band in rules.bands:
        yield (
            f"Heat: {spoken(band.demands)} from a wet-bulb globe temperature of {band.wbgt_c:g} °C, or a heat index of "
            f"{band.heat_index_c:g} °C."
        )
