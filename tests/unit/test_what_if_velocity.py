"""What if, at the chronograph: under other rules strings are sorted out anew and spot checks are held against other limits.

The figures are invented; the rules that they show are the park's own.
"""

from msgspec.structs import replace

from contracts import games, park, velocity
from contracts.limits import Limit
from contracts.rules import DEFAULT, ChronoRules, Rules, VelocityRules
from contracts.velocity import Misread
from tests.unit.retelling import by_brute_force, decisions_told, told_anew, what_if
from tests.unit.scenario import Scenario
from tests.unit.test_what_if import GRANTED, last, open_park, play


def under(**velocity_rules: object) -> Rules:
    return replace(DEFAULT, version="other", velocity=VelocityRules(**velocity_rules))


def measured_anew(day: Scenario, *shown: float, misreads: tuple[Misread, ...] = ()) -> None:
    """p1's own marker is turned down at its adjuster and shot again."""
    day.when(velocity.ChangeSetUp(marker="own1", change="adjuster"))
    day.at(2).when(velocity.TestMarker(test="t-new", marker="own1", chrono="k1", readings_fps=shown, misreads=misreads))


def string(events: list, test: str = "t-new") -> velocity.MarkerTested:
    (found,) = [one.data for one in events if isinstance(one.data, velocity.MarkerTested) and one.data.test == test]
    return found


def test_a_speed_that_the_other_rules_call_possible_becomes_a_reading_and_turns_the_marker_down():
    day = open_park()
    measured_anew(day, 270, 510, 271, 269)
    play(day, "g1", 5, "p1", "p2")
    refused = last(day, games.StartRefused)
    assert string(day.events).readings_fps == (270, 271, 269)
    told = string(told_anew(day.events, under(impossible_fps=600)))
    assert (told.readings_fps, told.misreads) == ((270, 510, 271, 269), ())
    answer = decisions_told(what_if(day, rules=under(impossible_fps=600)).turned)
    assert answer == [(refused, "p1", {"test_inconclusive"}, {"too_fast"})]


def test_a_speed_that_the_other_rules_call_no_shot_is_a_misread_in_its_place():
    day = open_park()
    measured_anew(day, 270, 100, 271, 269)
    play(day, "g1", 5, "p1", "p2")
    other = under(no_shot_fps=110)
    told = string(told_anew(day.events, other))
    assert told.readings_fps == (270, 271, 269)
    assert told.misreads == (Misread(kind="no_shot", speed_fps=100, after=1),)
    assert decisions_told(what_if(day, rules=other).turned) == [
        (last(day, games.StartRefused), "p1", {"test_inconclusive"}, GRANTED)
    ]


def test_what_a_person_named_a_misread_stays_one_under_any_rules():
    day = open_park()
    named = (
        Misread(kind="double_trigger", speed_fps=120, after=1),
        Misread(kind="no_shot", speed_fps=90, after=1),
        Misread(kind="beam_lost", speed_fps=None, after=3),
    )
    measured_anew(day, 270, 10, 271, 269, misreads=named)
    assert string(told_anew(day.events, DEFAULT)) is string(day.events)
    told = string(told_anew(day.events, under(no_shot_fps=5)))
    assert told.readings_fps == (270, 10, 271, 269)
    assert told.misreads == named


def test_the_rules_of_the_day_say_what_was_sorted_out_by_rule():
    day = open_park()
    day.when(park.AdoptRules(rules=under(no_shot_fps=60)))
    measured_anew(day, 55, 270, 271, 269, misreads=(Misread(kind="no_shot", speed_fps=70, after=0),))
    told = string(told_anew(day.events, under(no_shot_fps=50)))
    assert told.readings_fps == (55, 270, 271, 269)
    assert told.misreads == (Misread(kind="no_shot", speed_fps=70, after=0),)


def test_a_spot_check_is_found_anew_where_the_law_is_stricter_than_the_field():
    day = open_park()
    day.at(3).when(velocity.SpotCheckMarker(check="s1", marker="own1", field="birch", speed_fps=275))
    play(day, "g1", 5, "p1", "p2")
    started = last(day, games.GameStarted)
    strict = under(law=Limit(speed_fps=272.0))
    (checked,) = [one.data for one in told_anew(day.events, strict) if isinstance(one.data, velocity.MarkerSpotChecked)]
    assert (checked.finding, checked.bench_limit_fps, checked.stop_limit_fps) == ("over_stop", 272.0, 272.0)
    answer = decisions_told(what_if(day, rules=strict).turned)
    assert (started, "p1", GRANTED, {"spot_check_failed"}) in answer
    assert answer == by_brute_force(day, rules=strict)


def test_a_spot_check_that_failed_passes_where_the_park_has_no_limit_of_its_own():
    day = open_park()
    day.when(park.AdoptRules(rules=under(park=Limit(speed_fps=260.0))))
    day.when(velocity.ChangeSetUp(marker="own1", change="adjuster"))
    day.at(2).when(velocity.TestMarker(test="t-new", marker="own1", chrono="k1", readings_fps=(240.0, 241.0, 242.0)))
    day.at(3).when(velocity.SpotCheckMarker(check="s1", marker="own1", field="birch", speed_fps=265))
    assert day.events[last(day, velocity.MarkerSpotChecked) - 1].data.finding == "over_bench"
    play(day, "g1", 5, "p1")
    assert decisions_told(what_if(day, rules=under()).turned) == [
        (last(day, games.StartRefused), "p1", {"spot_check_failed"}, GRANTED)
    ]


def test_a_check_that_other_charts_would_not_have_passed_leaves_nobody_cleared_by_that_chronograph():
    day = open_park()
    day.at(3).when(
        velocity.CheckChrono(chrono="k1", readings_fps=(278.0, 279.0, 280.0), reference_fps=(280.0, 281.0, 282.0))
    )
    play(day, "g1", 5, "p1", "p2")
    stern = under(chrono=ChronoRules(bias_fps=1.5))
    checks = [one.data for one in told_anew(day.events, stern) if isinstance(one.data, velocity.ChronoChecked)]
    assert all(one.good for one in checks[:-1])
    assert (checks[-1].good, checks[-1].signals) == (False, ("bias",))
    answer = decisions_told(what_if(day, rules=stern).turned)
    assert (last(day, games.GameStarted), "p1", GRANTED, {"chrono_untrusted"}) not in answer, (
        "it passes with the 2 ft/s"
    )
    sterner = under(chrono=ChronoRules(bias_fps=1.5), law=Limit(speed_fps=251.5))
    answer = decisions_told(what_if(day, rules=sterner).turned)
    assert (last(day, games.GameStarted), "p1", GRANTED, {"chrono_untrusted"}) in answer
    assert answer == by_brute_force(day, rules=sterner)
