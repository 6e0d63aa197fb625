"""The weather on the board: what lightning and heat demand, until when, and that it is gone when it is over."""

from datetime import timedelta

import msgspec
import pytest

from contracts.board import Weather
from contracts.games import AskHold, LiftHold
from contracts.park import RecordFlash, RecordThunder, RecordWeather
from contracts.weather import WetBulbGlobe
from tests.unit.board_view import open_park, shown
from tests.unit.scenario import NINE


@pytest.fixture
def park():
    """Ten past nine."""
    return open_park()


def told(park, kind):
    return [alert.sentence for alert in shown(park).alerts if alert.kind == kind]


def test_nothing_is_said_of_weather_that_stops_nothing(park):
    assert shown(park).weather is None
    park.when(RecordWeather(temperature_c=14.5))
    assert shown(park).weather is None


def test_thunder_is_shown_with_the_earliest_time_to_resume_and_every_field_as_held(park):
    park.when(RecordThunder(flash_to_bang_s=12))
    status = shown(park.at(12))
    assert {field.state for field in status.fields.values()} == {"hold asked"}
    assert status.weather == Weather(lightning_at=NINE + timedelta(minutes=10), resume_at=NINE + timedelta(minutes=40))
    (sentence,) = told(park, "lightning")
    assert sentence.startswith("Lightning: the last flash or thunder was at 09:10. Everybody into a building or a car")
    assert sentence.endswith("No field that is held for it resumes before 09:40.")


def test_each_new_flash_moves_the_time_that_is_shown(park):
    park.when(RecordThunder())
    park.at(30).when(RecordFlash())
    assert shown(park).weather.resume_at == NINE + timedelta(minutes=60)


def test_when_the_wait_is_over_the_alert_is_gone_and_the_hold_is_not(park):
    park.when(RecordThunder())
    park.at(40)
    assert (shown(park).weather, told(park, "lightning")) == (None, [])
    assert shown(park).fields["birch"].state == "hold asked"
    park.when(LiftHold(hold="lightning-20260509T091000Z", field="birch", swept=True))
    assert shown(park).fields["birch"].state == "open"


@pytest.mark.parametrize(
    ("temperature_c", "humidity", "demands", "sentence"),
    [
        (28.0, 50.0, None, []),
        (32.0, 60.0, "shorter_games", ["Heat: shorter games, longer breaks in the shade, water for everybody."]),
        (36.0, 55.0, "no_play", ["Heat: no play. Everybody into the shade, with water."]),
    ],
)
def test_heat_is_shown_with_what_it_demands(park, temperature_c, humidity, demands, sentence):
    park.when(RecordWeather(temperature_c=temperature_c, humidity_percent=humidity))
    assert shown(park).weather.demands == demands
    assert told(park, "heat") == sentence


def test_both_measures_of_the_heat_are_shown_to_a_tenth(park):
    globe = WetBulbGlobe(natural_wet_bulb_c=22.53, globe_c=41.0)
    park.when(RecordWeather(temperature_c=27.0, humidity_percent=62.0, wet_bulb_globe=globe))
    weather = shown(park).weather
    assert (weather.wbgt_c, weather.heat_index_c, weather.demands) == (26.7, 28.2, None)


def test_nothing_of_it_is_null(park):
    park.when(RecordThunder())
    park.when(RecordWeather(temperature_c=36.0, humidity_percent=55.0))
    park.when(AskHold(hold="h", field="birch"))
    assert "null" not in msgspec.json.encode(shown(park)).decode()
