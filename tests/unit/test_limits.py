"""The strictest of what a field, the park and the law say, for the ball that is shot; and how speeds are shown."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contracts.limits import Limit
from contracts.rules import Ball, VelocityRules
from services.velocity.limits import HEAVIEST_G, ball_mass, stop_limit, strictest
from services.velocity.metrology.units import fps_from_joules, fps_from_mps, joules, mps_from_fps
from services.velocity.shown import shown, shown_difference
from services.velocity.states import Limits

FREE = VelocityRules()


def field(speed_fps: float = 285.0, stop: float = 300.0, **limit: float) -> Limits:
    return Limits("birch", speed_fps, stop, Limit(**limit))


def test_a_field_without_more_is_held_to_its_own_speed():
    found = strictest(field(), 3.0, FREE)
    assert (found.limit_fps, found.source, found.stated, found.rate_bps) == (285.0, "field", "285 ft/s", None)


@pytest.mark.parametrize(
    ("law", "park", "limit", "source", "stated"),
    [
        (Limit(speed_fps=280), Limit(), 280.0, "law", "280 ft/s"),
        (Limit(speed_fps=290), Limit(speed_fps=270), 270.0, "park", "270 ft/s"),
        (Limit(speed_mps=80), Limit(speed_fps=270), 80 / 0.3048, "law", "80 m/s"),
        (Limit(speed_fps=299), Limit(speed_mps=91), 285.0, "field", "285 ft/s"),
        (Limit(speed_fps=285), Limit(speed_fps=285), 285.0, "law", "285 ft/s"),
        (Limit(), Limit(speed_fps=285), 285.0, "park", "285 ft/s"),
        (Limit(speed_fps=280, speed_mps=80, energy_j=12), Limit(), 80 / 0.3048, "law", "80 m/s"),
    ],
    ids=[
        "the law is stricter",
        "the park is stricter than both",
        "the law speaks of metres",
        "the field is the strictest",
        "equal ones are the law's",
        "then the park's",
        "one limit in three units: its strictest",
    ],
)
def test_the_strictest_counts_and_is_named_as_it_is_stated(law, park, limit, source, stated):
    found = strictest(field(), 3.0, VelocityRules(law=law, park=park))
    assert found.limit_fps == pytest.approx(limit, rel=1e-12)
    assert (found.source, found.stated) == (source, stated)


def test_a_field_may_add_limits_in_other_units_and_of_its_rate():
    found = strictest(field(speed_mps=70.0, rate_bps=8.0), 3.0, VelocityRules(park=Limit(rate_bps=10.0)))
    assert (found.limit_fps, found.stated, found.rate_bps) == (pytest.approx(229.659, abs=1e-3), "70 m/s", 8.0)
    assert strictest(field(), 3.0, VelocityRules(law=Limit(rate_bps=5))).rate_bps == 5.0


def test_a_limit_in_joules_is_stricter_for_a_heavier_ball():
    law = VelocityRules(law=Limit(energy_j=11.0))
    light, heavy = (strictest(field(), mass, law).limit_fps for mass in (3.0, 3.2))
    assert heavy < light < 285.0
    assert joules(heavy, 3.2) == pytest.approx(11.0, rel=1e-12)
    assert strictest(field(), 2.5, law).source == "field", "so light a ball is under 11 J at 285 ft/s"


def test_the_mass_is_as_weighed_else_the_rules_for_its_calibre():
    rules = VelocityRules(balls=(Ball(calibre=".68", mass_g=3.1), Ball(calibre=".50", mass_g=1.2)))
    assert ball_mass(".68", 2.95, rules) == 2.95
    assert ball_mass(".68", None, rules) == 3.1
    assert ball_mass(".50", None, rules) == 1.2


def test_in_doubt_the_ball_is_the_heaviest():
    rules = VelocityRules(balls=(Ball(calibre=".50", mass_g=1.2), Ball(calibre=".68", mass_g=3.1)))
    assert ball_mass(None, None, rules) == 3.1, "of an unknown calibre the heaviest that the rules know"
    assert ball_mass(".43", None, rules) == HEAVIEST_G, "of one that they do not know the heaviest of all"
    twice = VelocityRules(balls=(Ball(calibre=".68", mass_g=3.0), Ball(calibre=".68", mass_g=3.2)))
    assert ball_mass(".68", None, twice) == 3.2
    assert ball_mass(".68", None, VelocityRules(balls=())) == HEAVIEST_G


def test_the_stop_limit_is_the_field_s_or_the_law_s_where_that_is_lower():
    assert stop_limit(field(), 3.0, FREE) == 300.0
    assert stop_limit(field(), 3.0, VelocityRules(park=Limit(speed_fps=250))) == 300.0, "the park's is for the bench"
    assert stop_limit(field(), 3.0, VelocityRules(law=Limit(speed_fps=290))) == 290.0
    assert stop_limit(field(), 3.0, VelocityRules(law=Limit(energy_j=7.5))) == fps_from_joules(7.5, 3.0)
    assert stop_limit(field(), 3.0, VelocityRules(law=Limit(rate_bps=5))) == 300.0


@pytest.mark.parametrize(
    ("unit", "speed", "difference"),
    [("fps", "281.4 ft/s", "12 ft/s"), ("mps", "85.8 m/s", "3.7 m/s"), ("joules", "11.03 J", "12 ft/s")],
)
def test_speeds_are_shown_in_the_park_s_own_unit(unit, speed, difference):
    rules = VelocityRules(unit=unit)
    assert shown(281.4, 3.0, rules) == speed
    assert shown_difference(12.2, rules) == difference


def test_a_round_speed_is_shown_without_digits():
    assert shown(285.0, 3.0, FREE) == "285 ft/s"
    assert shown(284.96, 3.0, FREE) == "285 ft/s", "rounded for the eye: nothing is decided on it"


ANY = settings(deadline=None)
LIMIT = st.builds(
    Limit,
    speed_fps=st.none() | st.floats(100, 400),
    speed_mps=st.none() | st.floats(30, 120),
    energy_j=st.none() | st.floats(1, 30),
    rate_bps=st.none() | st.floats(1, 30),
)
MASS = st.floats(0.5, 4)


@ANY
@given(LIMIT, LIMIT, LIMIT, MASS)
def test_no_statement_of_anybody_is_laxer_than_what_counts(law, park, own, ball_g):
    found = strictest(Limits("birch", 285.0, 300.0, own), ball_g, VelocityRules(law=law, park=park))
    for limit in (law, park, own, Limit(speed_fps=285.0)):
        assert limit.speed_fps is None or found.limit_fps <= limit.speed_fps
        assert limit.speed_mps is None or mps_from_fps(found.limit_fps) <= limit.speed_mps * (1 + 1e-12)
        assert limit.energy_j is None or joules(found.limit_fps, ball_g) <= limit.energy_j * (1 + 1e-12)
        assert limit.rate_bps is None or found.rate_bps <= limit.rate_bps


@ANY
@given(st.floats(0.1, 2000), MASS)
def test_units_there_and_back_are_the_same_speed(speed, ball_g):
    assert fps_from_mps(mps_from_fps(speed)) == pytest.approx(speed, rel=1e-14)
    assert fps_from_joules(joules(speed, ball_g), ball_g) == pytest.approx(speed, rel=1e-12)
