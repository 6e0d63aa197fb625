"""Lightning and heat against the guidelines and tables of others. Secondary texts and memory say so."""

import msgspec
import pytest

from contracts.rules import DEFAULT
from contracts.weather import LightningRules, WetBulbGlobe
from services.park import heat, lightning

LAW = DEFAULT.weather


@pytest.mark.parametrize(
    ("air_f", "humidity", "chart", "unrounded"),
    [(90, 50, 95, 94.60), (90, 70, 106, 105.92), (96, 65, 121, 121.03), (100, 40, 109, 109.26), (86, 90, 105, 105.39)],
)
def test_the_heat_index_is_that_of_the_weather_services_chart(air_f, humidity, chart, unrounded):
    """US National Weather Service, heat index chart (°F); unrounded: its published regression, computed elsewhere. 86/90 is damp air adjusted."""
    found = heat.heat_index_f(air_f, humidity)
    assert round(found) == chart
    assert found == pytest.approx(unrounded, abs=0.005)


def test_dry_air_is_adjusted_downwards():
    """95 °F at 10 %: 89.45, by the US National Weather Service's equation with its adjustment for dry air, computed elsewhere."""
    assert heat.heat_index_f(95, 10) == pytest.approx(89.45, abs=0.005)


def test_cool_air_is_told_by_the_simpler_mean():
    """The National Weather Service uses Steadman's mean where it stays under 80 °F: 0.5 {T + 61 + 1.2 (T - 68) + 0.094 RH}, averaged with T."""
    steadman = 0.5 * (70 + 61 + 1.2 * 2 + 0.094 * 50)
    assert heat.heat_index_f(70, 50) == pytest.approx((steadman + 70) / 2)


def test_degrees_are_converted_exactly():
    """By definition: water freezes at 32 °F and 0 °C, a Celsius degree is 9/5 of a Fahrenheit degree; both scales meet at -40."""
    assert [heat.fahrenheit(one) for one in (-40.0, 0.0, 37.0, 100.0)] == [-40.0, 32.0, pytest.approx(98.6), 212.0]
    assert heat.celsius(heat.fahrenheit(35.4)) == pytest.approx(35.4, abs=1e-12)


def test_the_wet_bulb_globe_temperature_weighs_its_parts_as_the_standard_does():
    """ISO 7243, from memory: 0.7 natural wet bulb + 0.2 globe + 0.1 air in the sun, 0.7 + 0.3 without."""
    sun = WetBulbGlobe(natural_wet_bulb_c=20.0, globe_c=40.0)
    shade = msgspec.structs.replace(sun, shade=True)
    assert heat.wet_bulb_globe(sun, 30.0) == pytest.approx(14 + 8 + 3)
    assert heat.wet_bulb_globe(shade, 30.0) == pytest.approx(14 + 12)
    assert heat.wet_bulb_globe(sun, 40.0) - heat.wet_bulb_globe(sun, 30.0) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("flag", "wbgt_f", "demand"),
    [
        ("white", 81.0, None),
        ("green", 82.0, "water_and_breaks"),
        ("green", 84.0, "water_and_breaks"),
        ("yellow", 85.0, "shorter_games"),
        ("red", 88.0, "shorter_games"),
        ("black", 90.0, "no_play"),
    ],
)
def test_the_default_bands_begin_with_the_flags_of_the_us_air_force(flag, wbgt_f, demand):
    """Wet-bulb globe, °F: white 78 to 81.9, green 82 to 84.9, yellow 85 to 87.9, red 88 to 89.9; black from 90, from memory."""
    assert heat.demanded(heat.Hot(heat.celsius(wbgt_f), None), DEFAULT) == demand, flag


def test_the_default_bands_of_the_heat_index_stop_play_at_the_weather_services_danger():
    """US National Weather Service: extreme caution from 90 °F, danger from 103 °F (some offices: 105)."""
    found = [heat.demanded(heat.Hot(None, heat.celsius(one)), DEFAULT) for one in (89, 90, 103)]
    assert found == [None, "water_and_breaks", "no_play"]


def test_play_stops_at_six_miles_or_the_first_thunder_and_stays_stopped_for_half_an_hour():
    """National Weather Service and NCAA guideline, secondary texts: 30 s from flash to bang are 6 miles at 5 s a mile; 30 minutes after the last."""
    assert lightning.miles(LAW.lightning.flash_to_bang_s) == 6.0
    assert LAW.lightning.wait_minutes == 30.0
    assert lightning.stops_play(119.0, DEFAULT)


def test_five_seconds_a_mile_is_the_speed_of_sound():
    """343 m/s in dry air at 20 °C (textbook value, from memory); a statute mile is 1609.344 m exactly."""
    assert pytest.approx(1609.344 / 343, rel=0.07) == lightning.SECONDS_PER_MILE


@pytest.mark.parametrize("laxer", [{"wait_minutes": 29.9}, {"flash_to_bang_s": 29.9}])
def test_no_park_may_be_laxer_than_the_guideline(laxer):
    """The same guideline's two numbers are the least that a park's rules can hold."""
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert(laxer, LightningRules)
