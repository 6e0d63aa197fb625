"""Heat: what it demands by the park's own bands, and that no play means a hold until it has cooled down."""

import pytest

from contracts.games import HoldAsked, LiftHold
from contracts.park import OpenDay, RecordWeather, RulesAdopted, WeatherRecorded
from contracts.problems import RuleForbids
from contracts.rules import DEFAULT, Rules
from contracts.weather import HeatBand, HeatRules, WeatherRules, WetBulbGlobe
from services.park import heat
from services.park.states import HEAT
from tests.unit.field_day import field_day, shut
from tests.unit.scenario import NINE

GLOBE = WetBulbGlobe(natural_wet_bulb_c=25.0, globe_c=45.0)
TOO_HOT = RecordWeather(temperature_c=36.0, humidity_percent=55.0)


@pytest.fixture
def day():
    return field_day()


def demanded(wbgt_c=None, heat_index_c=None, rules=DEFAULT):
    return heat.demanded(heat.Hot(wbgt_c, heat_index_c), rules)


@pytest.mark.parametrize(
    ("wbgt_c", "demand"),
    [
        (27.6, None),
        (27.7, "water_and_breaks"),
        (29.3, "water_and_breaks"),
        (29.4, "shorter_games"),
        (32.1, "shorter_games"),
        (32.2, "no_play"),
    ],
)
def test_a_band_is_reached_exactly_at_its_threshold(wbgt_c, demand):
    assert demanded(wbgt_c) == demand


def test_of_two_measures_the_one_that_demands_more_counts():
    assert demanded(28.0, 39.4) == "no_play"
    assert demanded(32.2, 20.0) == "no_play"
    assert demanded() is None


def test_the_bands_are_the_parks_own_in_any_order():
    bands = (
        HeatBand(demands="no_play", wbgt_c=25.0, heat_index_c=30.0),
        HeatBand(demands="water_and_breaks", wbgt_c=20.0, heat_index_c=25.0),
    )
    rules = Rules(version="cool", weather=WeatherRules(heat=HeatRules(bands=bands)))
    assert [demanded(wbgt, None, rules) for wbgt in (19.0, 20.0, 25.0)] == [None, "water_and_breaks", "no_play"]


def test_every_demand_is_said_in_words():
    assert heat.ADVICE.keys() == set(heat.MILDEST_FIRST)


def test_what_was_not_measured_says_nothing_of_the_heat():
    assert heat.hot(WeatherRecorded(temperature_c=38.0)) == heat.Hot(None, None)
    only_globe = heat.hot(WeatherRecorded(temperature_c=30.0, wet_bulb_globe=GLOBE))
    assert (only_globe.wbgt_c, only_globe.heat_index_c) == (pytest.approx(29.5), None)


def test_the_weather_is_recorded_as_it_was_measured(day):
    command = RecordWeather(temperature_c=24.0, humidity_percent=50.0, wet_bulb_globe=GLOBE)
    assert day.when(command) == (WeatherRecorded(temperature_c=24.0, humidity_percent=50.0, wet_bulb_globe=GLOBE),)
    assert shut(day) == []


def test_heat_that_allows_no_play_holds_every_field(day):
    recorded, asked = day.when(TOO_HOT)
    assert recorded == WeatherRecorded(temperature_c=36.0, humidity_percent=55.0)
    assert asked == HoldAsked(hold="heat-20260509T090000Z", fields=("birch", "fern"), whole_park=True, cause="weather")
    assert shut(day) == ["field_on_hold"]
    assert len(day.at(5).when(TOO_HOT)) == 1, "it is held already"


def lift(day, minute):
    return day.at(minute).when(LiftHold(hold="heat-20260509T090000Z", field="birch", swept=True))


def test_a_hold_is_lifted_once_cooler_weather_is_recorded_and_no_sooner(day):
    day.when(TOO_HOT)
    with pytest.raises(RuleForbids, match="Record the weather anew when it has cooled down"):
        lift(day, 120)
    day.when(RecordWeather(temperature_c=24.0))
    with pytest.raises(RuleForbids):
        lift(day, 121)
    day.when(RecordWeather(temperature_c=28.0, humidity_percent=50.0))
    assert shut(day) == ["field_on_hold"], "nothing resumes by itself"
    lift(day, 122)
    assert shut(day) == []


def test_heat_told_late_counts_only_where_nothing_newer_is_known(day):
    day.at(60).when(RecordWeather(temperature_c=28.0, humidity_percent=50.0))
    late = RecordWeather(temperature_c=36.0, humidity_percent=55.0, occurred_at=NINE)
    assert len(day.at(61).when(late)) == 1
    assert day.state(HEAT).weather.temperature_c == 28.0
    assert shut(day) == []


def test_yesterdays_heat_told_this_morning_stops_nothing(day):
    day.at(24 * 60).when(OpenDay(opened=day.now.date()))
    late = RecordWeather(temperature_c=36.0, humidity_percent=55.0, occurred_at=NINE)
    assert len(day.at(24 * 60 + 5).when(late)) == 1
    assert day.state(HEAT).weather is None


def test_yesterdays_heat_is_over_with_the_night_and_its_hold_is_not(day):
    day.when(TOO_HOT)
    day.at(24 * 60).when(OpenDay(opened=day.now.date()))
    assert "field_on_hold" in shut(day)
    lift(day, 24 * 60 + 5)


def test_the_rules_in_force_when_it_is_lifted_count(day):
    day.when(TOO_HOT)
    bands = (HeatBand(demands="no_play", wbgt_c=50.0, heat_index_c=60.0),)
    day.given(RulesAdopted(rules=Rules(version="warm", weather=WeatherRules(heat=HeatRules(bands=bands)))))
    lift(day, 5)
