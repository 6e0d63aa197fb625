"""What a reader of the record is told of the weather: what was measured and heard, and the rule that it fell under."""

import pytest
from msgspec.structs import replace

from contracts.park import FlashSeen, RulesAdopted, ThunderHeard, WeatherRecorded
from contracts.rules import DEFAULT
from contracts.weather import LightningRules, WeatherRules, WetBulbGlobe
from services.audit.cases.report.rulebook import sentences
from tests.unit.scenario import Scenario
from tests.unit.telling import of, story

TIMED = replace(DEFAULT, version="timed", weather=WeatherRules(lightning=LightningRules(stop_at="flash_to_bang")))


def told(data, rules=DEFAULT, tag="park"):
    """The last event of the story, in the park whose rules these are."""
    return story(Scenario().given(RulesAdopted(rules=rules), data), tag).events[-1]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (WeatherRecorded(temperature_c=14.5), "At staging it was 14.5 °C in the shade."),
        (
            WeatherRecorded(
                temperature_c=27.0,
                humidity_percent=62.0,
                wet_bulb_globe=WetBulbGlobe(natural_wet_bulb_c=22.5, globe_c=41.0),
            ),
            "At staging it was 27 °C in the shade, at 62 % humidity (heat index 28.2 °C), wet-bulb globe temperature 26.6 °C.",
        ),
        (ThunderHeard(flash_to_bang_s=None), "Thunder was heard."),
        (
            ThunderHeard(flash_to_bang_s=22.0),
            "Thunder 22 seconds after its flash (about 4.4 miles away) was heard.",
        ),
        (FlashSeen(), "A flash of lightning was seen, and no thunder heard."),
    ],
)
def test_the_weather_is_told_as_it_was_measured_and_heard(data, sentence):
    assert told(data).sentence == sentence


def test_the_rule_is_that_of_the_version_in_force():
    assert told(ThunderHeard(flash_to_bang_s=None)).rule == (
        "Under rules default: Lightning: the first thunder stops play everywhere; it is resumed at the earliest 30 minutes after the "
        "last flash or thunder."
    )
    assert (
        "thunder at most 30 seconds after its flash, or that nobody timed, stops play" in told(FlashSeen(), TIMED).rule
    )
    assert told(WeatherRecorded(temperature_c=36.0, humidity_percent=55.0)).rule.startswith(
        "Under rules default: Heat: no play."
    )
    assert told(WeatherRecorded(temperature_c=14.5)).rule == ""


def test_the_lightning_has_a_story_of_its_own():
    day = Scenario().given(WeatherRecorded(temperature_c=14.5), ThunderHeard(flash_to_bang_s=None), FlashSeen())
    events = story(day, "lightning").events
    assert [event.type for event in events] == ["park.thunder_heard", "park.flash_seen"]
    assert len(of(story(day, "park"), "weather_recorded")) == 1


def test_the_rule_book_says_when_the_weather_stops_play():
    found = [one for one in sentences(DEFAULT) if one.startswith(("Lightning", "Heat"))]
    assert found[0].startswith("Lightning: the first thunder stops play everywhere")
    assert found[-1] == "Heat: no play from a wet-bulb globe temperature of 32.2 °C, or a heat index of 39.4 °C."
    assert len(found) == 1 + len(DEFAULT.weather.heat.bands)
