"""The board and the bench: each field's limit as it counts, and the last word of the chronograph station."""

import pytest

from contracts.games import ConfigureField
from contracts.limits import Limit
from contracts.park import AdoptRules
from contracts.rules import Rules, VelocityRules
from contracts.velocity import AdjustChrono, CheckChrono, EndString, OpenString, TakeReading
from tests.unit.board_view import open_park, shown


@pytest.fixture
def park():
    return open_park()


def limits(park):
    return {name: field.limit for name, field in shown(park).fields.items()}


def last(park):
    return shown(park).stations["chronograph"].last.what


def adopts(park, **velocity):
    park.at(11).when(AdoptRules(rules=Rules(version="bench", velocity=VelocityRules(**velocity))))


def test_a_field_shows_its_own_limit(park):
    assert limits(park) == {"birch": "285 ft/s", "fern": "260 ft/s"}


def test_a_field_shows_the_laws_limit_where_that_is_stricter(park):
    adopts(park, law=Limit(speed_fps=270.0))
    assert limits(park) == {"birch": "270 ft/s", "fern": "260 ft/s"}


def test_a_field_shows_its_limit_in_the_parks_own_unit(park):
    adopts(park, unit="mps")
    assert limits(park) == {
        "birch": "86.9 m/s",
        "fern": "79.2 m/s",
    }  # 285 and 260 times 0.3048, the international foot (NIST SP 811)


def test_in_joules_a_limit_is_the_energy_of_the_fields_ball(park):
    adopts(park, unit="joules")
    assert limits(park)["birch"] == "12.07 J"  # E = mv²/2 by hand: 3.2 g at 285 ft/s = 86.868 m/s is 12.074 J


def test_of_two_calibres_the_one_that_is_held_lower_is_shown(park):
    """7.5 J is 224.6 ft/s for a ball of 3.2 g, and more for a lighter one: v = √(2E/m) by hand."""
    park.when(
        ConfigureField(field="fern", title="Fern", calibres=(".50", ".68"), limit=Limit(energy_j=7.5), limit_fps=285.0)
    )
    assert limits(park)["fern"] == "224.6 ft/s"


def test_a_string_that_is_being_shot_is_no_result_yet_and_its_test_is(park):
    before = last(park)
    park.when(OpenString(test="t9", marker="m1", chrono="c1"))
    park.when(TakeReading(chrono="c1", speed_fps=271.0))
    park.when(TakeReading(chrono="c1", speed_fps=273.5171))  # sent as 83.368 m/s
    assert last(park) == before
    park.when(TakeReading(chrono="c1", speed_fps=270.0))
    assert last(park) == "m1: 273.5 ft/s fastest of 3"


def test_a_string_that_was_not_shot_is_told_as_that(park):
    park.when(OpenString(test="t9", marker="m1", chrono="c1"))
    park.when(EndString(chrono="c1"))
    assert last(park) == "m1: not shot"


def test_a_string_of_misreads_alone_read_nothing(park):
    park.when(OpenString(test="t9", marker="m1", chrono="c1"))
    park.when(TakeReading(chrono="c1"))
    park.when(EndString(chrono="c1"))
    assert last(park) == "m1: nothing was read"


def test_work_on_a_chronograph_is_told_and_so_is_its_check(park):
    park.when(AdjustChrono(chrono="c1", work="battery"))
    assert last(park) == "c1 worked on: battery"
    park.when(CheckChrono(chrono="c1", readings_fps=(280.0,), reference_fps=(280.0,)))
    assert last(park) == "c1 checked: too few shots to say"
    park.when(CheckChrono(chrono="c1", readings_fps=(280.0, 281.0, 279.0), reference_fps=(280.0, 281.0, 279.0)))
    assert last(park) == "c1 checked: good"
    park.when(CheckChrono(chrono="c1", readings_fps=(276.0, 277.0, 275.0), reference_fps=(280.0, 281.0, 279.0)))
    assert last(park) == "c1 checked: out of control"
