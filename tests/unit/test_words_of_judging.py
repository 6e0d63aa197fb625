"""What a customer reads about how his marker was judged: the basis, the risk, the limit that counts, and what was no reading."""

import pytest
from msgspec.structs import replace

from contracts.equipment import MarkerRegistered
from contracts.games import FieldConfigured
from contracts.limits import Limit
from contracts.park import RulesAdopted
from contracts.rules import DEFAULT, Rules, VelocityRules
from contracts.velocity import MarkerSpotChecked, MarkerTested, Misread, SetUpChanged
from services.audit.cases.report import particulars
from services.audit.cases.report.rulebook import sentences
from services.audit.words.judging import stated
from tests.unit.scenario import Scenario
from tests.unit.telling import of, recorded, story

BIRCH = FieldConfigured(
    field="birch", title="Birch", limit_fps=285, stop_limit_fps=300, limit=Limit(), age_floor=12, calibres=(".68",),
    firing_modes=("semi",), capacity=40,
)  # fmt: skip
HERON = MarkerRegistered(marker="m1", owner=None, model="Heron", calibre=".68", firing_mode="ramping", gas="air")
TEST = MarkerTested(
    test="t1", marker="m1", chrono="k1", readings_fps=(270.0, 272.0, 275.0), low_pressure=False, sealed=False, temperature_c=None,
    misreads=(Misread(kind="double_trigger", speed_fps=290, after=1), Misread(kind="beam_lost", speed_fps=None, after=2)),
    ball_g=3.05, rate_bps=8,
)  # fmt: skip


def under(**velocity: object) -> Rules:
    return replace(DEFAULT, version="house", velocity=VelocityRules(**velocity))


def told(rules: Rules, *data: object):
    day = Scenario().given(RulesAdopted(rules=rules), BIRCH, HERON, *data)
    return of(story(day, "marker:m1"), "marker_tested")[-1]


@pytest.mark.parametrize(
    ("rules", "words"),
    [
        (
            under(),
            (
                "a test needs at least 3 readings, each under the limit of the field that is asked. "
                "Whatever marker is brought, in at most 10.5 of 100 cases it passes and its very next shot is over."
            ),
        ),
        (
            under(basis="mean", readings=5, risk=0.02, comparison="<="),
            (
                "a test needs at least 5 readings; their mean, with a guard band for their spread and for the chronograph's uncertainty, is to be "
                "at or under the limit of the field that is asked. A marker that is too fast on average passes in at most 2 of 100 cases."
            ),
        ),
        (
            under(basis="next_shot", readings=1),
            "a test needs at least 2 readings; the bound that they and the chronograph's uncertainty set for the next shot is to be under",
        ),
    ],
    ids=["every", "mean", "next shot"],
)
def test_the_rule_says_its_basis_and_its_risk_in_the_story_and_in_the_report(rules, words):
    assert f"Under rules house, {words}" in told(rules, TEST).rule
    assert any(words in one for one in sentences(rules))


def test_the_rule_says_which_limit_is_the_strictest():
    rules = under(park=Limit(speed_fps=280, rate_bps=8), law=Limit(energy_j=7.5))
    words = (
        "The strictest counts of the field's own limit and the park's (280 ft/s and 8 balls a second) and the law's (7.5 J). "
        "A limit in joules becomes a speed by the mass of the ball that is shot."
    )
    assert words in told(rules, TEST).rule
    assert words in sentences(rules)
    assert "strictest" not in told(under(), TEST).rule
    assert not any("strictest" in one for one in sentences(under()))


def test_the_rule_says_what_is_no_reading_and_that_none_is_struck_out_for_being_high():
    rules = under(no_shot_fps=60, impossible_fps=450)
    rule = told(rules, TEST).rule
    assert "A speed under 60 ft/s, a double trigger and a shot that the beam lost are misreads" in rule
    assert "or a speed over 450 ft/s, decides nothing" in rule
    assert rule.endswith("No reading is struck out for being high.")


def test_a_test_is_told_with_its_misreads_and_its_ball():
    event = told(under(), TEST)
    assert event.sentence == (
        "Marker m1 was measured on chronograph k1 (test t1): 270, 272 and 275 ft/s. Misread: a double trigger (290) and the beam lost the shot. "
        "With balls of 3.05 g. Up to 8 balls a second."
    )
    assert event.consequence == "By itself this string decides nothing for birch (285 ft/s)."
    assert particulars.string(recorded(TEST, "velocity.marker_tested")) == (
        "m1 on k1: 270, 272, 275 ft/s, misread: a double trigger (290) and the beam lost the shot, balls of 3.05 g, up to 8 balls a second"
    )


def test_a_string_without_a_reading_says_so():
    empty = replace(TEST, readings_fps=(), ball_g=None, rate_bps=None)
    assert "(test t1): no reading. Misread:" in told(under(), empty).sentence
    assert particulars.string(recorded(empty, "velocity.marker_tested")).startswith("m1 on k1: no reading, misread:")


def test_what_follows_is_by_the_same_rule_as_the_gate_where_the_marker_sets_its_own_rate():
    unseen = replace(TEST, misreads=(), rate_bps=None)
    limited = under(park=Limit(rate_bps=10))
    assert told(limited, unseen).consequence == "By itself this string decides nothing for birch (285 ft/s)."
    semi = SetUpChanged(marker="m1", change="firing_mode", firing_mode="semi")
    assert told(limited, semi, unseen).consequence == "By itself this string passes for birch (285 ft/s)."


def test_a_limit_of_the_law_is_told_as_the_law_states_it():
    plain = replace(TEST, misreads=())
    rules = under(law=Limit(energy_j=7.5))
    assert told(rules, plain).consequence == "By itself this string is too fast for birch (7.5 J)."


def test_a_field_is_told_with_its_further_limits():
    further = replace(BIRCH, limit=Limit(speed_mps=80, energy_j=11.5, rate_bps=8))
    words = "limit 285 ft/s and 80 m/s, 11.5 J and 8 balls a second, stop limit 300 ft/s"
    day = Scenario().given(further, BIRCH)
    first, second = of(story(day, "field:birch"), "field_configured")
    assert words in first.sentence
    assert "limit 285 ft/s, stop limit 300 ft/s" in second.sentence
    assert f"bench {words}" in particulars.limits(recorded(further, "games.field_configured"))


def test_a_spot_check_is_told_in_whole_figures():
    check = MarkerSpotChecked(
        check="s1", marker="m1", field="birch", game=None, player=None, speed_fps=226.4, bench_limit_fps=224.6170,
        stop_limit_fps=224.6170, finding="over_stop",
    )  # fmt: skip
    day = Scenario().given(RulesAdopted(rules=under(law=Limit(energy_j=7.5))), BIRCH, HERON, check)
    (event,) = of(story(day, "marker:m1"), "marker_spot_checked")
    assert "(bench 224.6, stop 224.6 ft/s)" in event.sentence
    assert "the bench limit of 224.6 ft/s" in event.rule
    assert "the law's (7.5 J)" in event.rule


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        (Limit(), ""),
        (Limit(energy_j=7.5), "7.5 J"),
        (Limit(speed_fps=280, energy_j=12), "280 ft/s and 12 J"),
    ],
)
def test_a_limit_is_told_as_it_is_stated(limit, words):
    assert stated(limit) == words
