"""The park's rules of velocity at their edges: whatever the contract takes, a string can be judged by, and its figures are numbers."""

import math

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from contracts.rules import VelocityRules
from services.velocity.judging import Shot, judgement
from services.velocity.limits import strictest
from services.velocity.metrology.paired import compare
from services.velocity.states import Limits

EDGES = {
    "basis": st.sampled_from(["every", "mean", "next_shot"]),
    "comparison": st.sampled_from(["<", "<="]),
    "risk": st.sampled_from([1e-6, 0.05, 0.25]),
    "instrument_u_fps": st.sampled_from([0, 1, 20]),
    "readings": st.sampled_from([1, 2, 20]),
    "law": st.sampled_from([{}, {"energy_j": 1e-300}, {"energy_j": 200}, {"speed_mps": 86.868}, {"speed_fps": 2000}]),
}
SPEEDS = st.lists(st.sampled_from([0.0, 1e-300, 284.9999999999, 285.0, 500.0, 2000.0]), max_size=20)


@given(rules=st.fixed_dictionaries(EDGES), speeds=SPEEDS, limit=st.sampled_from([0.0, 285.0, 2000.0]))
def test_every_string_can_be_judged_by_every_rule(rules, speeds, limit):
    taken = msgspec.convert(rules, VelocityRules)
    found = judgement(Shot(tuple(speeds), 3.2), strictest(Limits("birch", limit, limit), 3.2, taken), taken)
    figures = (found.held_fps, found.margin_fps, found.turn_down_fps, found.probability_over, found.stated_risk)
    assert all(one is None or math.isfinite(one) for one in figures)
    assert found.verdict != "pass" or (found.margin_fps is not None and found.margin_fps > -1e-9)


@pytest.mark.parametrize("rule", [{"risk": 1e-7}, {"risk": 0}, {"chrono": {"disagree_risk": 1e-20}}])
def test_a_risk_that_no_string_could_prove_is_no_rule(rule):
    """At 1e-300 Student's t of two readings is beyond what a float holds, and the gate would have no answer."""
    with pytest.raises(msgspec.ValidationError, match="1e-06"):
        msgspec.convert(rule, VelocityRules)


def test_two_chronographs_are_compared_at_the_least_risk_that_is_a_rule():
    found = compare((280.0, 281.0, 285.0, 279.0), (279.0, 282.0, 280.0, 281.0), confidence=1 - 1e-6)
    assert found is not None
    assert math.isfinite(found.lower_fps)
