"""The morning after: what a new day forgets about a field, and what it must not."""

import pytest

from contracts.games import (
    AskHold,
    ConfirmHold,
    CountHeads,
    EndGame,
    FieldCarried,
    GameStarted,
    InspectField,
    LiftHold,
    StartGame,
)
from contracts.park import DayOpened, OpenDay
from services.clearance.field import FIELD
from services.clearance.field import reasons as field_reasons
from services.duty.states import FIELD_STAFF
from services.velocity.states import LIMITS
from tests.unit.field_day import call, field_day, on_duty
from tests.unit.scenario import NINE

DAY = 24 * 60


@pytest.fixture
def park(monkeypatch):
    """Yesterday: one game was called on birch."""
    day = field_day()
    monkeypatch.setattr("services.games.admission.clearance.reasons", lambda *_: [])
    day.when(OpenDay(opened=NINE.date()))
    day.given(on_duty("s2", "first_aider", None))
    return day


def next_morning(park):
    park.at(DAY)
    return park.when(OpenDay(opened=park.now.date()))


def carried(events):
    return [event.field for event in events if isinstance(event, FieldCarried)]


def test_a_field_on_which_nothing_was_left_open_begins_anew_with_its_limits(park):
    before = park.state(FIELD, "birch").configured
    opened, *fields = next_morning(park)
    assert isinstance(opened, DayOpened)
    assert carried(fields) == ["birch", "fern"]
    birch = park.state(FIELD, "birch")
    assert (birch.configured.limit_fps, birch.configured.title) == (before.limit_fps, before.title)
    assert (birch.inspection, birch.holds, birch.runs) == (None, (), {})
    assert park.state(LIMITS, "fern").bench == 260
    assert [one.code for one in field_reasons(birch, park.moment())] == ["field_not_inspected"]


def test_a_field_is_read_from_this_morning_on(park):
    next_morning(park)
    park.when(InspectField(field="birch", passed=True))
    morning = [event for event in park.events if "field:birch" in event.tags and event.day == park.now.date()]
    fresh = FIELD.over("birch", morning)
    assert fresh == park.state(FIELD, "birch")
    assert FIELD_STAFF.over("birch", morning) == park.state(FIELD_STAFF, "birch")


def test_a_hold_that_nobody_lifted_stands_the_next_morning(park):
    park.when(AskHold(hold="h1", field="birch", cause="fire"))
    assert carried(next_morning(park)) == ["fern"]
    park.when(InspectField(field="birch", passed=True))
    assert [one.code for one in field_reasons(park.state(FIELD, "birch"), park.moment())] == ["field_on_hold"]


def test_heads_that_were_not_counted_are_still_missing_the_next_morning(park):
    call(park, "g1", "p1", "p2")
    (started,) = park.when(StartGame(game="g1"))
    assert isinstance(started, GameStarted)
    park.at(15).when(EndGame(game="g1"))
    assert carried(next_morning(park)) == ["fern"]
    park.when(InspectField(field="birch", passed=True))
    assert [one.code for one in field_reasons(park.state(FIELD, "birch"), park.moment())] == ["heads_missing"]
    park.when(CountHeads(game="g1", counted=2))
    assert field_reasons(park.state(FIELD, "birch"), park.moment()) == []


def test_a_field_that_was_inspected_before_the_day_was_opened_stays_inspected(park):
    park.at(DAY).when(InspectField(field="birch", passed=True))
    assert carried(next_morning(park)) == ["fern"]
    assert field_reasons(park.state(FIELD, "birch"), park.moment()) == []


def test_yesterdays_hold_that_was_lifted_is_forgotten(park):
    park.when(AskHold(hold="h1", field="birch", cause="weather"))
    park.when(ConfirmHold(hold="h1", field="birch"))
    park.at(30).when(LiftHold(hold="h1", field="birch", swept=True))
    assert carried(next_morning(park)) == ["birch", "fern"]
