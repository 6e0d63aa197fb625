"""What is told of a chronograph: its standing with what to do, its charts, the markers it measured, and the others it disagrees with."""

from datetime import timedelta

import pytest

from contracts.envelope import Unknown
from contracts.equipment import HandOverMarker, RegisterMarker
from contracts.games import StartGame
from contracts.problems import UnknownSubject
from contracts.velocity import AdjustChrono, ChangeSetUp, CheckChrono, RegisterChrono, TestMarker
from services.clearance import chronographs
from services.core.rules import RULES
from tests.unit.board_view import open_park
from tests.unit.instruments import agrees, checks
from tests.unit.scenario import NINE, Scenario
from tests.unit.test_clearance import called, codes


@pytest.fixture
def park() -> Scenario:
    """Ten past nine: p1 to p3 carry m1 to m3, measured at 9:01 to 9:03 on c1 (281, 280, 279); birch allows 285 ft/s, fern 260."""
    scenario = open_park()
    scenario.when(RegisterChrono(chrono="c2"))
    return scenario


def report(park: Scenario, chrono: str = "c1"):
    given = park.load(lambda given: {(RULES, ""), *chronographs.of_one(chrono)(given)})
    return chronographs.chronograph(given, chrono, park.moment())


def standings(park: Scenario):
    given = park.load(lambda given: {(RULES, ""), *chronographs.of_all(given)})
    return {one: chronographs.standing(given, one, park.moment()) for one in ("c1", "c2")}


def treatments(park: Scenario, chrono: str = "c1") -> dict[str, str]:
    return {one.marker: one.treatment for one in report(park, chrono).markers}


def shoots(park: Scenario, marker: str, *readings: float, chrono: str = "c1") -> None:
    park.when(TestMarker(test=f"t{len(park.events)}", marker=marker, chrono=chrono, readings_fps=readings, sealed=True))


# its standing


def test_every_chronograph_of_the_park_is_told_of_with_what_to_do(park):
    found = standings(park)
    assert (found["c1"].trusted, found["c2"].doubt) == (True, "never_checked")
    assert found["c1"].good_until == NINE + timedelta(hours=4)
    assert (
        found["c2"].sentence
        == "It was never checked: check it against a reference before anything that it reads can count."
    )


def test_one_that_is_trusted_on_a_word_says_so_and_by_when_to_do_better(park):
    assert report(park).sentence == (
        "It can be trusted on a person's word, given without readings. "
        "Check it by 13:00 with what it and the reference read of the same shots."
    )
    agrees(park.at(30))
    assert (
        report(park).sentence == "It can be trusted: its last check agreed with the reference. Check it again by 13:30."
    )


def test_an_overdue_check_is_told_with_since_when_and_that_a_good_one_mends_it(park):
    found = report(park.at(60 * 5))
    assert (found.trusted, found.doubt, found.good_until) == (False, "check_overdue", NINE + timedelta(hours=4))
    assert found.sentence == (
        "Its check has been overdue since 13:00. Check it now: what it has measured since then counts once a check is good."
    )


def test_one_out_of_control_says_why_and_what_to_do(park):
    checks(park.at(30), -4, -4, -4)
    found = report(park)
    assert (found.doubt, found.good_until) == ("closed", None)
    assert found.sentence == (
        "Out of control: it is further off than the rule allows, the check is beyond its chart's limits, its checks have moved away "
        "from the reference. Measure on another chronograph; find the cause, record the work, then check it against the reference."
    )


def test_one_that_was_worked_on_waits_for_its_check(park):
    park.at(30).when(AdjustChrono(chrono="c1", work="battery"))
    assert report(park).doubt == "worked_on"
    assert report(park).works == (NINE + timedelta(minutes=30),)


def test_one_whose_record_cannot_be_read_is_not_trusted(park):
    event = park.events[-1]
    park.record(type(event)(**{
        **{name: getattr(event, name) for name in event.__struct_fields__},
        "position": len(park.events) + 1, "tags": ("chrono:c1",),
        "data": Unknown(type="velocity.chrono_melted", version=1, why="unknown type or version"),
    }))  # fmt: skip
    found = report(park)
    assert (found.trusted, found.doubt) == (False, "not_understood")


def test_a_chronograph_that_nobody_entered_is_not_known(park):
    with pytest.raises(UnknownSubject, match="chrono c9"):
        report(park, "c9")


# its charts


def test_the_chart_shows_each_check_between_its_limits(park):
    """First limits: 3 x 0.8 for a single check, 0.3 of that for the moving mean (NIST/SEMATECH e-Handbook 6.3.2.4, its formula at t = 1)."""
    checks(park.at(20), 1, 1, 1)
    checks(park.at(30), -4, -4, -4)
    word, first, second = report(park).checks
    assert (word.shots, word.bias_fps, word.mean_fps) == (0, None, None)
    assert (first.at, first.shots, first.bias_fps, first.good) == (NINE + timedelta(minutes=20), 3, 1.0, True)
    assert (first.mean_fps, first.mean_limit_fps, first.single_limit_fps) == pytest.approx((0.3, 0.72, 2.4))
    assert second.mean_fps == pytest.approx(0.3 * -4 + 0.7 * 0.3)
    assert (second.signals, second.beyond) == (("bias", "shewhart", "ewma"), ("bias", "shewhart", "ewma"))


def test_the_chart_begins_anew_at_work_and_puts_a_late_check_in_its_place(park):
    checks(park.at(20), -4, -4, -4)
    park.at(30).when(AdjustChrono(chrono="c1", work="sensor"))
    checks(park.at(40), 0, 0, 0)
    checks(park.at(50), 1, 1, 1, occurred_at=NINE + timedelta(minutes=35))
    assert [(one.bias_fps, one.mean_fps) for one in report(park).checks] == [
        (1.0, pytest.approx(0.3)),
        (0.0, pytest.approx(0.21)),
    ]


# what it measured


def test_what_it_measured_since_its_last_good_check_is_listed_with_who_carries_it(park):
    called(park, "g1", "p1")
    park.when(StartGame(game="g1"))
    first, *_ = found = report(park).markers
    assert [one.marker for one in found] == ["m1", "m2", "m3"]
    assert (first.holder, first.armband, first.on_field, first.treatment) == ("p1", 1, "birch", "stays_cleared")
    agrees(park.at(20))
    assert report(park).markers == ()


def test_found_four_low_those_that_would_reach_the_limit_are_not_cleared_and_the_rest_are_retested(park):
    shoots(park.at(11), "m2", 276, 275, 277)
    called(park, "g1", "p1")
    park.when(StartGame(game="g1"))
    checks(park.at(30), -4, -4, -4)
    found = {one.marker: one for one in report(park).markers}
    assert {name: one.treatment for name, one in found.items()} == {
        "m1": "reaches_limit",
        "m2": "retest",
        "m3": "reaches_limit",
    }
    assert (found["m1"].not_cleared_for, found["m2"].not_cleared_for) == (("birch",), ())
    assert [one.marker for one in report(park).markers] == ["m1", "m3", "m2"]
    assert (
        found["m1"].sentence
        == "Not cleared for birch: corrected for the 4.0 ft/s that the chronograph read low, it does not pass. Cover on, off the field, measure it again."
    )
    assert (
        found["m2"].sentence
        == "Passes, corrected for the 4.0 ft/s that the chronograph read low: measure it again at its next staging."
    )


def test_what_the_report_says_is_what_the_gate_says(park):
    shoots(park.at(11), "m2", 276, 275, 277)
    checks(park.at(30), -4, -4, -4)
    barred = {one.marker for one in report(park).markers if "birch" in one.not_cleared_for}
    at_the_gate = {f"m{number}" for number in (1, 2, 3) if "chrono_untrusted" in codes(park, f"p{number}")}
    assert barred == at_the_gate == {"m1", "m3"}


def test_with_the_bias_unknown_none_of_them_is_cleared(park):
    park.at(30).when(CheckChrono(chrono="c1", good=False))
    assert set(treatments(park).values()) == {"bias_unknown"}
    assert report(park).markers[0].sentence == (
        "Not cleared: the chronograph was out of control. Cover on, off the field, measure it again."
    )


def test_opened_again_it_still_lists_what_is_in_doubt_from_before(park):
    checks(park.at(30), -4, -4, -4)
    park.at(40).when(AdjustChrono(chrono="c1", work="sensor"))
    agrees(park.at(50))
    assert report(park).trusted
    assert treatments(park) == dict.fromkeys(("m1", "m2", "m3"), "reaches_limit")


def test_measured_again_on_a_good_one_or_changed_since_it_is_done_with(park):
    agrees(park, "c2")
    checks(park.at(30), -4, -4, -4)
    shoots(park.at(35), "m1", 280, 279, 280, chrono="c2")
    park.when(ChangeSetUp(marker="m2", change="adjuster"))
    assert treatments(park) == {"m3": "reaches_limit", "m2": "set_up_changed", "m1": "stays_cleared"}
    assert treatments(park, "c2") == {"m1": "stays_cleared"}


def test_it_goes_with_the_marker_to_whoever_holds_it(park):
    park.when(HandOverMarker(marker="m1", giver="p1", taker="p2"))
    assert {one.marker: one.holder for one in report(park).markers} == {"m1": "p2", "m2": "p2", "m3": "p3"}


def test_an_unsealed_marker_of_yesterday_is_forgotten_and_a_sealed_one_is_not(park):
    park.when(TestMarker(test="t9", marker="m1", chrono="c1", readings_fps=(280, 280, 280)))
    agrees(park.at(24 * 60))
    shoots(park, "m3", 281, 280, 281)
    checks(park.at(24 * 60 + 10), -4, -4, -4)
    assert treatments(park) == {"m3": "reaches_limit"}
    checks(park, -4, -4, -4, occurred_at=NINE + timedelta(minutes=30))
    assert treatments(park) == {"m2": "reaches_limit", "m3": "reaches_limit"}


# two that disagree


def measured_on_both(park: Scenario, *lower: float) -> None:
    """Markers that both chronographs measure, c1 so much lower than c2."""
    for number, less in enumerate(lower):
        marker = f"d{number}"
        park.when(RegisterMarker(marker=marker, model="Heron"))
        shoots(park, marker, *(speed - less for speed in (268 + number, 270, 271)))
        shoots(park, marker, 268 + number, 270, 271, chrono="c2")


def test_two_that_disagree_are_found_with_the_size_of_it(park):
    """The mean of 3.5, 4, 4.5, 4, 4 is 4; its standard error 0.158, Student's t at 99 % with 4 degrees 4.604 (tables): 4 +- 0.728."""
    agrees(park, "c2")
    measured_on_both(park, 3.5, 4, 4.5, 4, 4)
    (found,) = report(park).disagreements
    assert (found.other, found.n, found.against) == ("c2", 5, None)
    assert (found.bias_fps, found.lower_fps, found.upper_fps) == pytest.approx((-4, -4.728, -3.272), abs=5e-4)
    assert found.sentence == (
        "Reads 4.0 ft/s lower than c2 over 5 markers that both measured (3.3 to 4.7 with 99 % confidence). "
        "Their own checks speak against neither alone: check both against the reference."
    )
    (other,) = report(park, "c2").disagreements
    assert (other.other, other.bias_fps) == ("c1", pytest.approx(4))


def test_the_one_that_its_own_checks_closed_is_named(park):
    agrees(park, "c2")
    measured_on_both(park, 3.5, 4, 4.5, 4, 4)
    checks(park.at(30), -4, -4, -4)
    (found,) = report(park).disagreements
    assert found.against == "c1"
    assert found.sentence.endswith("Its own checks speak against c1.")
    assert report(park, "c2").disagreements[0].against == "c1"


def test_where_both_are_closed_the_checks_speak_against_neither_alone(park):
    checks(park, 4, 4, 4, chrono="c2")
    measured_on_both(park, 3.5, 4, 4.5, 4, 4)
    checks(park.at(30), -4, -4, -4)
    (found,) = report(park).disagreements
    assert found.against is None
    assert found.sentence.endswith("Their own checks speak against neither alone: check both against the reference.")


@pytest.mark.parametrize("lower", [(4, 4, 4), (4, -4, 3, -3, 4), ()], ids=["too few", "no bias", "none"])
def test_what_may_be_chance_is_no_disagreement(park, lower):
    measured_on_both(park, *lower)
    assert report(park).disagreements == ()


def test_strings_from_before_work_on_either_say_nothing_of_now(park):
    measured_on_both(park, 3.5, 4, 4.5, 4, 4)
    park.at(20).when(AdjustChrono(chrono="c2", work="sensor"))
    assert report(park).disagreements == ()


def test_strings_in_another_set_up_are_no_pair(park):
    measured_on_both(park, 3.5, 4, 4.5, 4, 4)
    for number in range(2):
        park.at(20).when(ChangeSetUp(marker=f"d{number}", change="adjuster"))
        shoots(park.at(21), f"d{number}", 270, 270, 270)
    assert report(park).disagreements == ()
