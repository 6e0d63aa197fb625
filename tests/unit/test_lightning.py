"""Lightning: thunder stops play everywhere, and nobody resumes it before the time after the last flash or thunder."""

from datetime import timedelta

import pytest

from contracts.games import AskHold, ConfigureField, HoldAsked, LiftHold
from contracts.park import FlashSeen, OpenDay, RecordFlash, RecordThunder, RulesAdopted, ThunderHeard
from contracts.problems import RuleForbids
from contracts.rules import Rules
from contracts.weather import LightningRules, WeatherRules
from services.clearance.field import FIELD
from services.games.api import SERVICE
from tests.unit.field_day import field_day, shut
from tests.unit.scenario import NINE, Scenario

BY_SECONDS = Rules(version="timed", weather=WeatherRules(lightning=LightningRules(stop_at="flash_to_bang")))


@pytest.fixture
def day():
    return field_day()


def minutes(number: float):
    return NINE + timedelta(minutes=number)


def thunder(day: Scenario, at: float, told: float | None = None, seconds: float | None = None):
    """Thunder at some minutes past nine, told then or later."""
    day.at(at if told is None else told)
    return day.when(RecordThunder(flash_to_bang_s=seconds, occurred_at=minutes(at)))


def lift(day: Scenario, at: float, hold: str = "lightning-20260509T090000Z", field: str = "birch"):
    return day.at(at).when(LiftHold(hold=hold, field=field, swept=True))


def test_the_first_thunder_stops_every_field_in_the_same_breath(day):
    heard, asked = thunder(day, 0, seconds=75)
    assert heard == ThunderHeard(flash_to_bang_s=75)
    assert asked == HoldAsked(
        hold="lightning-20260509T090000Z", fields=("birch", "fern"), whole_park=True, cause="weather"
    )
    assert "field_on_hold" in shut(day, "birch")
    assert "field_on_hold" in shut(day, "fern")


def test_more_thunder_asks_for_no_second_hold(day):
    thunder(day, 0)
    assert thunder(day, 4) == (ThunderHeard(flash_to_bang_s=None),)


def test_thunder_under_a_hold_by_the_weather_that_a_person_asked_for_needs_none_of_its_own_and_binds_it(day):
    day.when(AskHold(hold="storm", cause="weather"))
    assert len(thunder(day, 1)) == 1
    with pytest.raises(RuleForbids, match="09:31:00"):
        lift(day, 10, "storm")


def test_a_field_that_no_hold_by_the_weather_stops_is_stopped_whatever_else_stops_it(day):
    day.when(AskHold(hold="storm", field="fern", cause="weather"))
    day.when(AskHold(hold="hurt", field="birch", cause="injury"))
    _, asked = thunder(day, 1)
    assert (asked.fields, asked.whole_park) == (("birch",), False)
    lift(day, 5, "hurt")
    assert shut(day) == ["field_on_hold"]


def test_a_park_without_fields_has_nothing_to_stop():
    assert thunder(Scenario(SERVICE.handlers), 0) == (ThunderHeard(flash_to_bang_s=None),)


def test_nobody_resumes_before_thirty_minutes_and_the_refusal_says_when(day):
    thunder(day, 0)
    with pytest.raises(RuleForbids, match=r"was at 09:00:00.*at the earliest 30 minutes after it, at 09:30:00"):
        lift(day, 29.99)
    assert len(lift(day, 30)) == 1
    assert shut(day) == []


def test_each_flash_and_each_thunder_begins_the_wait_anew(day):
    thunder(day, 0)
    thunder(day, 20)
    with pytest.raises(RuleForbids, match="09:50:00"):
        lift(day, 40)
    assert day.at(45).when(RecordFlash()) == (FlashSeen(),)
    with pytest.raises(RuleForbids, match="10:15:00"):
        lift(day, 60)
    lift(day, 75)


def test_nothing_resumes_by_itself_when_the_wait_is_over(day):
    thunder(day, 0)
    assert shut(day.at(600)) == ["field_on_hold"]


def test_thunder_told_late_moves_the_earliest_time(day):
    thunder(day, 0)
    thunder(day, 25, told=29)
    with pytest.raises(RuleForbids, match="09:55:00"):
        lift(day, 31)


def test_thunder_told_late_of_an_earlier_time_moves_nothing(day):
    thunder(day, 10)
    thunder(day, 2, told=12)
    with pytest.raises(RuleForbids, match="09:40:00"):
        lift(day, 39, "lightning-20260509T091000Z")
    lift(day, 40, "lightning-20260509T091000Z")


def test_a_lift_that_claims_an_earlier_time_of_its_own_is_not_let_through(day):
    """A handheld out of reach resumed play at 9:31; the others had heard thunder at 9:25."""
    thunder(day, 0)
    thunder(day, 25)
    day.at(60)
    with pytest.raises(RuleForbids, match="09:55:00"):
        day.when(
            LiftHold(hold="lightning-20260509T090000Z", field="birch", swept=True, occurred_at=minutes(31)),
        )


def test_late_thunder_stops_play_anew_while_its_wait_runs_and_not_after(day):
    thunder(day, 0)
    for field in ("birch", "fern"):
        lift(day, 30, field=field)
    _, asked = thunder(day, 20, told=45)
    assert asked.hold == "lightning-20260509T092000Z"
    assert shut(day) == ["field_on_hold"]
    assert len(thunder(field_day(), 0, told=30)) == 1


def test_a_flash_without_thunder_stops_nothing_by_itself(day):
    assert day.when(RecordFlash()) == (FlashSeen(),)
    assert shut(day) == []


@pytest.mark.parametrize(("seconds", "stops"), [(None, True), (30.0, True), (30.1, False), (0.0, True)])
def test_by_flash_to_bang_thunder_stops_play_from_thirty_seconds_down_or_where_nobody_timed_it(day, seconds, stops):
    day.given(RulesAdopted(rules=BY_SECONDS))
    assert (len(thunder(day, 0, seconds=seconds)) == 2) is stops


def test_distant_thunder_that_stops_nothing_still_begins_the_wait_anew(day):
    day.given(RulesAdopted(rules=BY_SECONDS))
    thunder(day, 0, seconds=10)
    assert len(thunder(day, 29, seconds=90)) == 1
    with pytest.raises(RuleForbids, match="09:59:00"):
        lift(day, 31)


def test_the_wait_and_the_time_zone_are_the_parks_own(day):
    law = WeatherRules(lightning=LightningRules(wait_minutes=45))
    day.given(RulesAdopted(rules=Rules(version="longer", time_zone="Europe/London", weather=law)))
    thunder(day, 0)
    with pytest.raises(RuleForbids, match="45 minutes after it, at 10:45:00"):
        lift(day, 40)


def test_thunder_before_the_day_was_opened_is_not_forgotten_at_its_opening(day):
    thunder(day, 0)
    day.at(5).when(OpenDay(opened=NINE.date()))
    with pytest.raises(RuleForbids):
        lift(day, 20)


def test_a_hold_for_another_cause_does_not_wait_for_the_sky(day):
    day.when(AskHold(hold="hurt", field="birch", cause="injury"))
    thunder(day, 0)
    lift(day, 2, "hurt")


def test_a_field_that_was_set_up_amid_the_storm_is_stopped_at_the_next_thunder(day):
    thunder(day, 0)
    day.at(5).when(ConfigureField(field="oak", title="Oak"))
    _, asked = thunder(day, 6)
    assert (asked.fields, asked.whole_park) == (("oak",), False)
    assert [hold.hold for hold in day.state(FIELD, "birch").standing] == ["lightning-20260509T090000Z"]
