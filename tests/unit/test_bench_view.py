"""What the bench shows: the string so far, the last test for each field, and whether the chronograph can be trusted."""

import pytest

from contracts.bench import Shown
from contracts.park import RulesAdopted
from contracts.problems import UnknownSubject
from contracts.rules import Rules, VelocityRules
from contracts.velocity import ChangeSetUp, CheckChrono, ChronoRegistered, EndString, OpenString, TakeReading
from services.velocity import bench as benches
from services.velocity.api import SERVICE
from tests.unit.scenario import Scenario
from tests.unit.test_shooting import marker
from tests.unit.test_velocity import field

CHRONO = "bench-1"


@pytest.fixture
def bench():
    """Two fields, a marker, a chronograph that was checked at nine."""
    scenario = Scenario(SERVICE.handlers).given(
        ChronoRegistered(chrono=CHRONO), marker("m1"), field("Birch", 285), field("Fern", 230)
    )
    scenario.when(CheckChrono(chrono=CHRONO, readings_fps=(280, 281, 282), reference_fps=(280, 281, 282)))
    return scenario.at(5)


def view(bench, asked=None):
    given = bench.load(lambda given: benches.subjects(CHRONO, given))
    return benches.view("test", 1, CHRONO, asked, given, bench.moment())


def shot(bench, *speeds, test="t1"):
    bench.when(OpenString(test=test, marker="m1", chrono=CHRONO))
    for speed in speeds:
        bench.when(TakeReading(chrono=CHRONO, speed_fps=speed))


def lines(answered):
    return [one.line for one in answered.fields]


def test_before_anything_is_shot_it_says_that_the_chronograph_can_be_trusted_and_how_a_string_is_made(bench):
    shown = view(bench)
    assert (shown.string, shown.last, shown.needed, shown.instrument.trusted) == (None, None, 3, True)
    assert [(point.bias_fps, point.good) for point in shown.checks] == [(0.0, True)]


def test_a_string_builds_up_and_each_field_says_what_it_knows_so_far(bench):
    shot(bench, 240, 241)
    string = view(bench).string
    assert (string.marker, string.to_come, string.shown) == ("m1", 1, (Shown(speed_fps=240), Shown(speed_fps=241)))
    assert lines(string) == ["Birch 285 ft/s: not too fast so far", "Fern 230 ft/s: turn down 16 ft/s"]


def test_a_misread_stands_where_it_came(bench):
    shot(bench, 240)
    bench.when(TakeReading(chrono=CHRONO, misread="beam_lost"))
    bench.when(TakeReading(chrono=CHRONO, speed_fps=241))
    assert view(bench).string.shown == (
        Shown(speed_fps=240),
        Shown(misread="beam_lost"),
        Shown(speed_fps=241),
    )


def test_a_test_that_passes_for_some_fields_says_for_which(bench):
    shot(bench, 240, 241, 242)
    last = view(bench).last
    assert (last.verdict, last.marker) == ("some", "m1")
    assert last.sentence == "Pass for Birch. Fern 230 ft/s: turn down 17 ft/s."
    assert lines(last) == ["Birch 285 ft/s: pass", "Fern 230 ft/s: turn down 17 ft/s"]


@pytest.mark.parametrize(("asked", "verdict", "turn"), [("Birch", "pass", None), ("Fern", "turn_down", 17)])
def test_for_the_field_that_is_asked_there_is_one_verdict(bench, asked, verdict, turn):
    shot(bench, 240, 241, 242)
    last = view(bench, asked).last
    assert (last.verdict, last.turn_down_fps, len(last.fields)) == (verdict, turn, 1)


def test_a_test_that_is_too_fast_for_every_field_says_by_how_much_for_each(bench):
    shot(bench, 290, 291, 292)
    last = view(bench).last
    assert (last.verdict, last.turn_down_fps) == ("turn_down", 12)
    assert (
        last.sentence
        == "Turn down by about 12 ft/s for the least strict field, 67 ft/s for all. Record that, and test it again."
    )


def test_a_string_that_was_too_fast_stands_though_the_next_one_is_slow_until_the_set_up_is_changed(bench):
    shot(bench, 290, 291, 292)
    shot(bench, 270, 271, 272, test="t2")
    last = view(bench, "Birch").last
    assert (last.verdict, last.stands) == ("turn_down", True)
    assert last.sentence.startswith("Another string was too fast")
    bench.when(ChangeSetUp(marker="m1", change="adjuster"))
    assert (view(bench).last.verdict, view(bench).last.set_up_changed) == ("inconclusive", True)
    shot(bench, 270, 271, 272, test="t3")
    assert view(bench, "Birch").last.verdict == "pass"


def test_a_change_of_set_up_amid_a_string_is_said_while_it_is_open(bench):
    shot(bench, 270)
    assert not view(bench).string.set_up_changed
    bench.when(ChangeSetUp(marker="m1", change="adjuster"))
    assert view(bench).string.set_up_changed


def test_nothing_passes_on_a_chronograph_that_cannot_be_trusted_and_what_is_too_fast_is_turned_down(bench):
    bench.when(CheckChrono(chrono=CHRONO, readings_fps=(270, 271, 272), reference_fps=(280, 281, 282)))
    bench.at(6)
    shot(bench, 220, 221, 222)
    shown = view(bench)
    assert not shown.instrument.trusted
    assert (shown.last.verdict, "could not be trusted" in shown.last.sentence) == ("inconclusive", True)
    assert lines(shown.last) == [
        "Birch 285 ft/s: not counted",
        "Fern 230 ft/s: not counted",
    ]
    shot(bench, 290, 291, 292, test="t2")
    assert view(bench).last.verdict == "turn_down"


def test_readings_of_no_marker_are_shown_apart(bench):
    shot(bench, 240, 241, 242)
    bench.when(TakeReading(chrono=CHRONO, speed_fps=301))
    assert view(bench).strays == (Shown(speed_fps=301),)


def test_a_short_string_is_undecided(bench):
    shot(bench, 220)
    bench.when(EndString(chrono=CHRONO, low_pressure=True))
    last = view(bench).last
    assert last.verdict == "inconclusive"
    assert "too few readings, the pressure was low" in last.sentence


def test_in_a_park_that_speaks_metres_the_lines_do_too(bench):
    """12 ft/s are 3.66 m/s by the exact foot of 0.3048 m."""
    bench.given(RulesAdopted(rules=Rules(version="v2", velocity=VelocityRules(unit="mps"))))
    shot(bench, 290, 291, 292)
    assert lines(view(bench).last)[0] == "Birch 285 ft/s: turn down 3.7 m/s"


def test_without_any_field_nothing_is_decided_and_it_says_so():
    bare = Scenario(SERVICE.handlers).given(ChronoRegistered(chrono=CHRONO), marker("m1"))
    bare.when(CheckChrono(chrono=CHRONO, good=True))
    shot(bare.at(1), 240, 241, 242)
    last = view(bare).last
    assert (last.verdict, "No field has a limit yet" in last.sentence) == ("inconclusive", True)


def test_a_chronograph_or_a_field_that_the_record_does_not_know_is_refused(bench):
    with pytest.raises(UnknownSubject, match="field Heath"):
        view(bench, "Heath")
    with pytest.raises(UnknownSubject, match="bench-1"):
        view(Scenario(SERVICE.handlers))


def test_a_string_that_is_open_never_passes_though_the_rules_ask_for_fewer_readings_by_now(bench):
    shot(bench, 240, 241)
    bench.given(RulesAdopted(rules=Rules(version="v2", velocity=VelocityRules(readings=1))))
    string = view(bench).string
    assert (string.to_come, lines(string)[0]) == (1, "Birch 285 ft/s: not too fast so far")
    bench.when(TakeReading(chrono=CHRONO, speed_fps=242))
    assert lines(view(bench).last)[0] == "Birch 285 ft/s: pass"


def test_what_passed_yesterday_is_no_pass_this_morning_and_what_was_too_fast_stays_so(bench):
    shot(bench, 220, 221, 222)
    assert view(bench).last.verdict == "pass"
    last = view(bench.at(24 * 60)).last
    assert (last.verdict, last.sentence) == ("inconclusive", benches.EXPIRED.sentence)
    assert lines(last)[0] == "Birch 285 ft/s: not counted"
    shot(bench.at(25 * 60), 290, 291, 292, test="t2")
    assert view(bench.at(48 * 60)).last.verdict == "turn_down"
