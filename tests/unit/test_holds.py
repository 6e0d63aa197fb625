"""Holds: anybody stops play in one touch; only a person resumes it."""

from datetime import timedelta

import pytest

from contracts.games import AskHold, ConfigureField, ConfirmHold, HoldAsked, LiftHold
from contracts.problems import NotInThatState, UnknownSubject
from services.clearance.field import FIELD, reasons
from tests.unit.field_day import field_day, shut
from tests.unit.scenario import NINE, Scenario


@pytest.fixture
def day():
    return field_day()


def lift(day: Scenario, hold: str, field: str = "birch") -> None:
    day.when(LiftHold(hold=hold, field=field, swept=True))


def test_a_hold_stops_its_field_from_the_moment_it_is_asked_for(day):
    (asked,) = day.when(AskHold(hold="h1", field="birch", cause="injury"))
    assert asked == HoldAsked(hold="h1", fields=("birch",), whole_park=False, cause="injury")
    (reason,) = reasons(day.state(FIELD, "birch"), day.moment())
    assert (reason.code, reason.subject, reason.where) == ("field_on_hold", "field:birch", "head referee")
    assert reason.sentence == "Play is stopped on this field. Somebody is hurt."
    assert "field_on_hold" not in shut(day, "fern")


def test_without_a_field_it_is_a_hold_of_every_field(day):
    day.when(ConfigureField(field="oak", title="Oak"))
    (asked,) = day.when(AskHold(hold="h1", cause="weather"))
    assert (asked.fields, asked.whole_park) == (("birch", "fern", "oak"), True)
    assert all("field_on_hold" in shut(day, field) for field in ("birch", "fern", "oak"))


def test_a_hold_of_a_park_without_fields_is_recorded_all_the_same():
    (asked,) = Scenario(field_day().handlers.values()).when(AskHold(hold="h1"))
    assert (asked.fields, asked.whole_park) == ((), True)


def test_a_hold_is_confirmed_field_by_field_and_confirming_resumes_nothing(day):
    day.when(AskHold(hold="h1"))
    day.at(1).when(ConfirmHold(hold="h1", field="birch"))
    birch, fern = (day.state(FIELD, field).standing[0] for field in ("birch", "fern"))
    assert (birch.confirmed is not None, fern.confirmed) == (True, None)
    assert shut(day) == ["field_on_hold"]


def test_lifting_resumes_one_field_and_the_others_stay_stopped(day):
    day.when(AskHold(hold="h1"))
    lift(day.at(5), "h1")
    assert shut(day) == []
    assert "field_on_hold" in shut(day, "fern")


def test_of_two_holds_lifting_one_leaves_the_other(day):
    day.when(AskHold(hold="h1", field="birch"))
    day.when(AskHold(hold="h2", cause="weather"))
    assert shut(day) == ["field_on_hold", "field_on_hold"]
    lift(day.at(5), "h1")
    assert [hold.hold for hold in day.state(FIELD, "birch").standing] == ["h2"]


def test_nothing_resumes_by_itself_not_even_over_night(day):
    day.when(AskHold(hold="h1", field="birch"))
    assert "field_on_hold" in shut(day.at(24 * 60))


def test_a_hold_is_lifted_once(day):
    day.when(AskHold(hold="h1", field="birch"))
    lift(day.at(5), "h1")
    with pytest.raises(NotInThatState, match="Hold h1 on field birch has been lifted already"):
        lift(day, "h1")


def test_a_hold_told_twice_is_one_hold(day):
    day.when(AskHold(hold="h1", field="birch"))
    day.at(1).when(AskHold(hold="h1", field="birch"))
    assert shut(day) == ["field_on_hold"]
    lift(day.at(5), "h1")
    day.at(30).when(AskHold(hold="h1", field="birch", occurred_at=NINE + timedelta(minutes=1)))
    assert shut(day) == []


def test_a_hold_asked_for_again_after_it_was_lifted_stops_play_again(day):
    day.when(AskHold(hold="h1", field="birch"))
    lift(day.at(5), "h1")
    day.at(6).when(AskHold(hold="h1", field="birch"))
    assert shut(day) == ["field_on_hold"]


def test_a_hold_told_late_stops_play_until_a_person_resumes_it(day):
    day.at(40).when(AskHold(hold="h1", field="birch", occurred_at=NINE))
    assert shut(day) == ["field_on_hold"]


def test_a_lift_counts_although_the_clock_of_the_device_that_asked_was_ahead(day):
    day.at(10).when(AskHold(hold="h1", field="birch"))
    day.when(LiftHold(hold="h1", field="birch", swept=True, occurred_at=NINE + timedelta(minutes=9)))
    assert shut(day) == []


def test_an_unknown_hold_or_field_is_named(day):
    with pytest.raises(UnknownSubject, match="hold h9"):
        lift(day, "h9")
    with pytest.raises(UnknownSubject, match="hold h9"):
        day.when(ConfirmHold(hold="h9", field="birch"))
    with pytest.raises(UnknownSubject, match="field moor"):
        day.when(AskHold(hold="h1", field="moor"))
