"""A call for first aid: in one touch, with the place, on every screen until somebody answers it."""

import pytest

from contracts.games import AnswerFirstAid, CallFirstAid
from contracts.problems import AlreadyRecorded, NotInThatState, UnknownSubject
from services.games.first_aid import CALLS
from tests.unit.board_view import open_park, shown


@pytest.fixture
def park():
    return open_park()


def alerts(park):
    return [one for one in shown(park).alerts if one.kind == "first_aid_called"]


def test_a_call_stands_on_the_wall_with_its_field_and_place_until_somebody_is_there(park):
    park.at(12).when(CallFirstAid(call="a1", field="birch", place="gate"))
    (alert,) = alerts(park)
    assert (alert.field, alert.since) == ("birch", park.now)
    assert alert.sentence.startswith("First aid to Birch, at the gate.")
    assert "emergency services" in alert.sentence
    park.at(14).when(AnswerFirstAid(call="a1"))
    assert alerts(park) == []


def test_a_call_by_mistake_is_answered_as_one(park):
    park.at(12).when(CallFirstAid(call="a1", field="birch"))
    (answered,) = park.when(AnswerFirstAid(call="a1", came=False))
    assert (answered.field, answered.came) == ("birch", False)
    with pytest.raises(NotInThatState, match="answered already"):
        park.when(AnswerFirstAid(call="a1"))


def test_an_unknown_call_or_field_and_a_name_twice_are_refused(park):
    with pytest.raises(UnknownSubject):
        park.when(AnswerFirstAid(call="a9"))
    with pytest.raises(UnknownSubject):
        park.when(CallFirstAid(call="a1", field="oak"))
    park.when(CallFirstAid(call="a1", field="birch"))
    with pytest.raises(AlreadyRecorded):
        park.when(CallFirstAid(call="a1", field="birch"))


def test_a_call_that_nobody_answered_is_not_forgotten_overnight_and_an_answered_one_is(park):
    park.at(12).when(CallFirstAid(call="a1", field="birch"))
    park.when(CallFirstAid(call="a2", field="birch"))
    park.when(AnswerFirstAid(call="a2"))
    park.at(24 * 60).when(CallFirstAid(call="a3", field="fern"))
    assert list(park.state(CALLS).calls) == ["a3", "a1"]
    assert [one.call for one in park.state(CALLS).open] == ["a1", "a3"]
