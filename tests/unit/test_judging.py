"""What a string of readings says about a limit. The figures are the rules' defaults: common practice, no source, unless a test names one."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from contracts.rules import VelocityRules
from contracts.velocity import Misread
from services.velocity.judging import Shot, held, judgement, needed, reaches, verdict
from services.velocity.metrology.bounds import upper_bound
from services.velocity.metrology.strings import summarize
from tests.unit.strings import bound, said

EVERY = VelocityRules()
MEAN = VelocityRules(basis="mean")
NEXT = VelocityRules(basis="next_shot", readings=5)
BASES = (EVERY, MEAN, NEXT)
by_basis = pytest.mark.parametrize("rules", BASES, ids=lambda rules: rules.basis)


def string(*readings: float, **more: object) -> Shot:
    return Shot(readings, ball_g=3.0, **more)


def misread(kind: str, speed: float | None, after: int = 0) -> Misread:
    return Misread(kind=kind, speed_fps=speed, after=after)


def causes(shot: Shot, limit: float = 285, rules: VelocityRules = EVERY, **more: object) -> tuple[str, ...]:
    """Why it decides nothing; empty would be a pass or a turn-down."""
    found, why = verdict(shot, replace(bound(limit), **more), rules)
    assert found == "inconclusive"
    return why


# which speed is held against the limit


def test_of_every_reading_the_highest_is_held():
    assert held((281.4, 284.9, 279), EVERY) == 284.9


def test_of_the_mean_it_is_the_mean_with_its_guard_band():
    readings = (280.0, 281.0, 282.0)
    expected = upper_bound(summarize(readings), "mean", risk=0.05, instrument_u=1.0)
    assert held(readings, MEAN) == expected
    assert said(readings, expected - 0.001, MEAN) == "turn_down"
    assert said(readings, expected + 0.001, MEAN) == "pass"


def test_of_the_next_shot_it_is_its_upper_bound():
    readings = (280.0, 281.0, 282.0, 281.0, 280.0)
    expected = upper_bound(summarize(readings), "next_shot", risk=0.05, instrument_u=1.0)
    assert held(readings, NEXT) == expected > held(readings, replace(NEXT, basis="mean"))
    assert said(readings, expected, NEXT) == "turn_down"
    assert said(readings, expected, replace(NEXT, comparison="<=")) == "pass"


def test_a_single_reading_over_the_limit_fails_every_and_not_the_mean_of_a_steady_marker():
    readings = (270.0,) * 9 + (286.0,)
    assert said(readings, 285, EVERY) == "turn_down"
    assert said(readings, 285, replace(MEAN, readings=10)) == "pass"


# at the limit


@pytest.mark.parametrize(("comparison", "at_the_limit"), [("<", "turn_down"), ("<=", "pass")])
@pytest.mark.parametrize("rules", [EVERY, replace(MEAN, instrument_u_fps=0.0)], ids=lambda rules: rules.basis)
def test_what_lies_exactly_at_the_limit_is_too_fast_unless_the_park_allows_it(rules, comparison, at_the_limit):
    rules = replace(rules, comparison=comparison)
    assert said((285.0, 285.0, 285.0), 285, rules) == at_the_limit
    assert said((284.9, 284.9, 284.9), 285, rules) == "pass"
    assert said((285.1, 285.1, 285.1), 285, rules) == "turn_down"


def test_the_same_speed_in_two_units_lies_at_the_limit_and_not_over_it():
    at_most = replace(EVERY, comparison="<=")
    limit = 85.8 / 0.3048
    assert not reaches(limit + 2e-13, limit, at_most)
    assert reaches(limit - 2e-13, limit, EVERY)
    assert reaches(limit + 1e-6, limit, at_most)
    assert not reaches(limit - 1e-6, limit, EVERY)


# too few readings


@by_basis
def test_a_string_that_is_short_decides_nothing(rules):
    short = (270.0,) * (needed(rules) - 1)
    assert causes(string(*short), rules=rules) == ("too_few",)
    assert said((*short, 270.0), 285, rules) == "pass"


@by_basis
def test_a_short_string_that_is_too_fast_is_turned_down_and_not_shot_again(rules):
    assert said((286.0,), 285, rules) == "turn_down"
    assert said((290.0, 286.0), 285, rules) == "turn_down"


def test_of_a_short_string_the_mean_alone_is_held():
    assert said((286.0, 280.0), 285, MEAN) == "inconclusive", "not yet"
    found = judgement(string(286.0, 280.0), bound(285), MEAN)
    assert (found.held_fps, found.margin_fps, found.causes) == (283.0, 2.0, ("too_few",))


@pytest.mark.parametrize("basis", ["mean", "next_shot"])
def test_a_basis_that_needs_a_spread_needs_two_readings_whatever_the_rule_says(basis):
    rules = VelocityRules(basis=basis, readings=1)
    assert needed(rules) == 2
    assert causes(string(270.0), rules=rules) == ("too_few",)
    assert said((270.0, 270.2), 285, rules) == "pass"


def test_one_reading_may_be_the_park_s_rule_where_every_reading_counts():
    assert said((284.0,), 285, replace(EVERY, readings=1)) == "pass"


def test_a_string_that_was_shot_on_is_judged_by_all_its_readings():
    assert said((281, 282, 283, 286), 285, EVERY) == "turn_down"


def test_shooting_on_never_makes_a_mean_pass():
    """Of three readings the mean with its guard is over the limit; two slow ones more would have brought it under."""
    three = (280.0, 284.0, 282.0)
    shot_on = (*three, 281.0, 282.0)
    at_once = upper_bound(summarize(shot_on), "mean", risk=0.05, instrument_u=1.0)
    assert at_once < 285 < held(three, MEAN)
    assert held(shot_on, MEAN) == held(three, MEAN)
    assert said(shot_on, 285, MEAN) == "turn_down"
    assert said(shot_on, 285, replace(MEAN, readings=5)) == "pass", "where five make a string"


@by_basis
def test_a_string_of_misreads_alone_decides_nothing(rules):
    shot = string(misreads=(misread("beam_lost", None), misread("no_shot", 0.0)))
    assert causes(shot, rules=rules) == ("too_few",)
    found = judgement(shot, bound(285), rules)
    assert (found.n, found.mean_fps, found.held_fps, found.energy_j, found.probability_over) == (0, *[None] * 4)
    assert found.misreads == shot.misreads


# doubtful strings


def test_low_pressure_decides_nothing_unless_it_was_too_fast_even_so():
    assert causes(string(270, 271, 272, low_pressure=True)) == ("low_pressure",)
    assert said((270, 271, 286), 285, EVERY) == "turn_down"
    assert verdict(string(270, 271, 286, low_pressure=True), bound(285), EVERY) == ("turn_down", ())


def test_a_spread_of_exactly_the_rule_s_is_not_too_wide():
    assert said((250, 265, 280), 285, EVERY) == "pass"
    assert causes(string(250, 265, 280.1)) == ("wide_spread",)


def test_a_reading_of_exactly_the_lowest_is_not_suspicious():
    assert said((120, 121, 122), 285, EVERY) == "pass"
    assert causes(string(119.9, 121, 122)) == ("suspiciously_low",)


def test_every_doubt_is_named():
    shot = string(100, 280, misreads=(misread("impossible", 900), misread("double_trigger", 290)), low_pressure=True)
    assert causes(shot) == (
        "too_few",
        "low_pressure",
        "wide_spread",
        "suspiciously_low",
        "impossible",
        "fast_misread",
    )


# misreads


@pytest.mark.parametrize("kind", ["double_trigger", "beam_lost", "no_shot"])
@by_basis
def test_a_misread_as_fast_as_the_limit_is_not_left_out_for_being_high(rules, kind):
    readings = (270.0, 271.0, 270.5, 270.0, 271.0)
    assert causes(string(*readings, misreads=(misread(kind, 285.0),)), rules=rules) == ("fast_misread",)
    assert verdict(string(*readings, misreads=(misread(kind, 200.0),)), bound(285), rules)[0] == "pass"


def test_a_misread_under_the_limit_that_would_have_turned_the_string_down_is_not_left_out_either():
    readings, high = (270.0, 271.0, 270.5, 270.0, 271.0), misread("double_trigger", 284.0)
    assert held(readings, NEXT) < 284.5
    assert held((*readings, 284.0), NEXT) > 284.5
    assert causes(string(*readings, misreads=(high,)), 284.5, NEXT) == ("fast_misread",)
    assert verdict(string(*readings, misreads=(high,)), bound(284.5), EVERY)[0] == "pass"
    assert verdict(string(*readings, misreads=(misread("double_trigger", 271.5),)), bound(284.5), NEXT)[0] == "pass"


def test_at_most_lets_a_misread_at_the_limit_be_left_out():
    shot = string(270, 271, 272, misreads=(misread("double_trigger", 285),))
    assert verdict(shot, bound(285), replace(EVERY, comparison="<="))[0] == "pass"


def test_a_speed_that_cannot_be_true_decides_nothing_however_slow_the_rest():
    assert causes(string(230, 231, 232, misreads=(misread("impossible", 700),))) == ("impossible",)


# the rate of fire


def test_a_rate_over_the_limit_is_turned_down_and_one_at_it_is_not():
    limited = replace(bound(285), rate_bps=8.0)
    assert verdict(string(270, 271, 272, rate_bps=8.0), limited, EVERY) == ("pass", ())
    assert verdict(string(270, 271, 272, rate_bps=8.1), limited, EVERY) == ("turn_down", ())
    assert verdict(string(270, 271, 272, rate_bps=8.1), bound(285), EVERY) == ("pass", ()), "nobody limits it"


@pytest.mark.parametrize("mode", ["ramping", "burst", "full"])
def test_a_marker_that_sets_its_own_rate_decides_nothing_until_its_rate_was_seen(mode):
    assert causes(string(270, 271, 272, firing_mode=mode), rate_bps=10.0) == ("rate_unseen",)
    seen = string(270, 271, 272, firing_mode=mode, rate_bps=9.5)
    assert verdict(seen, replace(bound(285), rate_bps=10.0), EVERY)[0] == "pass"
    assert verdict(string(270, 271, 272, firing_mode=mode), bound(285), EVERY)[0] == "pass", "nobody limits it"


@pytest.mark.parametrize("mode", ["pump", "semi"])
def test_where_the_finger_sets_the_rate_it_need_not_be_seen(mode):
    assert verdict(string(270, 271, 272, firing_mode=mode), replace(bound(285), rate_bps=8.0), EVERY)[0] == "pass"


# what the person at the bench is told


def test_a_pass_names_the_limit_as_it_is_stated():
    assert judgement(string(270, 271, 272), bound(285), EVERY).sentence == "Pass for 285 ft/s."


def test_a_turn_down_says_by_how_much():
    """To 5 ft/s under the limit, or one standard deviation where that is more."""
    found = judgement(string(281, 282, 288), bound(285), EVERY)
    assert found.turn_down_fps == pytest.approx(3 + 5)
    assert found.sentence == "Turn down by about 8 ft/s for 285 ft/s. Record that, and test it again."
    wide = judgement(string(264, 276, 288), bound(285), EVERY)
    assert wide.sd_fps == pytest.approx(12)
    assert wide.turn_down_fps == pytest.approx(3 + 12)


def test_a_park_in_metres_a_second_is_told_by_how_many_of_them():
    found = judgement(string(281, 282, 288), bound(285), replace(EVERY, unit="mps"))
    assert found.sentence.startswith("Turn down by about 2.4 m/s")
    in_joules = judgement(string(281, 282, 288), bound(285), replace(EVERY, unit="joules"))
    assert in_joules.sentence.startswith("Turn down by about 8 ft/s")


def test_speed_and_rate_are_both_to_be_set_down():
    limited = replace(bound(285), rate_bps=8.0)
    found = judgement(string(270, 271, 272, rate_bps=12.5), limited, EVERY)
    assert (found.turn_down_fps, found.too_fast_a_rate) == (None, True)
    assert (
        found.sentence == "Set the rate of fire down: 12.5 balls a second, 8 allowed. Record that, and test it again."
    )
    both = judgement(string(270, 271, 288, rate_bps=12.5), limited, EVERY)
    assert both.sentence.startswith("Turn down by about")
    assert "Set the rate of fire down" in both.sentence


def test_nothing_decided_says_why_and_how_many_to_shoot():
    found = judgement(string(281, 250, low_pressure=True), bound(285), EVERY)
    assert found.sentence == (
        "Nothing decided: too few readings, the pressure was low, the readings spread too wide. Shoot 3 again."
    )
    assert judgement(string(281), bound(285), VelocityRules(basis="mean", readings=1)).sentence.endswith(
        "Shoot 2 again."
    )


def test_an_answer_carries_all_that_it_rests_on():
    found = judgement(string(281, 284, 279, calibre=".68"), bound(285), EVERY)
    assert (found.n, found.highest_fps, found.extreme_spread_fps, found.held_fps, found.margin_fps) == (
        3,
        284,
        5,
        284,
        1,
    )
    assert found.mean_fps == pytest.approx(844 / 3)
    assert found.sd_fps == pytest.approx(2.5166, abs=1e-4)
    assert found.stated_risk == 27 / 256
    assert 0.1 < found.probability_over < 0.2
    assert (found.ball_g, found.calibre, found.comparison, found.basis) == (3.0, ".68", "<", "every")


@by_basis
def test_a_string_shot_twice_as_long_states_its_own_risk(rules):
    many = judgement(string(*[270.0, 271.0] * needed(rules)), bound(285), rules)
    few = judgement(string(270.0), bound(285), rules)
    assert many.stated_risk <= few.stated_risk
    assert few.stated_risk == (27 / 256 if rules is EVERY else 0.05), "of a full string"


# whatever the string

ANY = settings(deadline=None)
SPEEDS = st.floats(100, 400).map(lambda speed: round(speed, 1))
READINGS = st.lists(SPEEDS, max_size=8).map(tuple)
LIMITS = st.floats(150, 350).map(lambda speed: round(speed, 1))
MISREADS = st.lists(
    st.builds(
        Misread,
        kind=st.sampled_from(["no_shot", "double_trigger", "beam_lost", "impossible"]),
        speed_fps=st.none() | SPEEDS,
        after=st.just(0),
    ),
    max_size=3,
).map(tuple)
SHOTS = st.builds(
    Shot, READINGS, st.just(3.0), MISREADS, st.booleans(), st.none() | st.floats(1, 20), st.none(),
    st.sampled_from(["pump", "semi", "ramping", "full"]),
)  # fmt: skip
RULES = st.builds(
    VelocityRules,
    readings=st.integers(1, 6),
    basis=st.sampled_from(["every", "mean", "next_shot"]),
    comparison=st.sampled_from(["<", "<="]),
    instrument_u_fps=st.sampled_from([0.0, 1.0, 3.0]),
    risk=st.sampled_from([0.01, 0.05, 0.25]),
)
STRICTNESS = {"pass": 0, "inconclusive": 1, "turn_down": 2}


@settings(ANY, max_examples=500)
@given(SHOTS, LIMITS, RULES, SPEEDS)
@example(string(256.0, 285.0), 285, VelocityRules(readings=2, basis="mean", risk=0.25, instrument_u_fps=0.0), 286.0)
def test_one_more_reading_never_turns_a_turn_down_into_a_pass(shot, limit, rules, more):
    """Whatever it is for a string that is full; for a short one, one that is too fast itself."""
    if len(shot.readings_fps) < needed(rules) and rules.basis != "every":
        more = max(more, limit + 1)
    before = verdict(shot, bound(limit), rules)[0]
    after = verdict(shot._replace(readings_fps=(*shot.readings_fps, more)), bound(limit), rules)[0]
    assert (before, after) != ("turn_down", "pass")
    if rules.basis == "every" and reaches(more, limit, rules):
        assert after == "turn_down"


@ANY
@given(SHOTS, LIMITS, LIMITS, RULES)
def test_a_stricter_limit_never_clears_what_a_laxer_one_does_not(shot, one, other, rules):
    strict, lax = sorted((one, other))
    verdicts = [STRICTNESS[verdict(shot, bound(limit), rules)[0]] for limit in (strict, lax)]
    assert verdicts[0] >= verdicts[1]


@ANY
@given(SHOTS, LIMITS, RULES)
def test_whatever_is_wrong_with_a_string_a_pass_needs_every_doubt_gone(shot, limit, rules):
    found, why = verdict(shot, bound(limit), rules)
    assert (found == "inconclusive") == bool(why)
    if found == "pass":
        assert len(shot.readings_fps) >= needed(rules)
        assert not shot.low_pressure
        assert not any(one.kind == "impossible" for one in shot.misreads)
        assert not any(one.speed_fps is not None and reaches(one.speed_fps, limit, rules) for one in shot.misreads)
        assert not reaches(sum(shot.readings_fps) / len(shot.readings_fps), limit, rules)


@ANY
@given(SHOTS, LIMITS, RULES)
def test_the_figures_and_the_verdict_say_the_same(shot, limit, rules):
    found = judgement(shot, bound(limit), rules)
    assert found.verdict == verdict(shot, bound(limit), rules)[0]
    assert (found.turn_down_fps is not None) == (found.held_fps is not None and reaches(found.held_fps, limit, rules))
    assert (found.verdict == "turn_down") == (found.turn_down_fps is not None)
    if found.turn_down_fps is not None:
        assert found.held_fps - found.turn_down_fps <= limit - 5 + 1e-9
    assert found.misreads == shot.misreads


@ANY
@given(READINGS.filter(bool), LIMITS, RULES)
def test_the_order_of_the_shots_of_one_string_decides_nothing(readings, limit, rules):
    readings = readings[: needed(rules)]
    assert said(readings, limit, rules) == said(tuple(sorted(readings)), limit, rules)
