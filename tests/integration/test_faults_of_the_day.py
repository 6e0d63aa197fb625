"""The faults that were planted in the invented day are found: a chronograph that reads 4 ft/s low from noon on, and a hired marker that creeps."""

from itertools import pairwise
from math import fsum

import pytest
from scipy.stats import linregress, t, ttest_rel

from contracts.equipment import GearIssued, GearReleased, GearReturned, MarkerRegistered, MarkerSwapped
from contracts.games import FieldConfigured, GameStarted, StartRefused
from contracts.registration import PlayerRegistered, RotationAssigned
from contracts.velocity import (
    ChronoAdjusted,
    ChronoChecked,
    MarkerSpotChecked,
    MarkerTested,
    ReadingTaken,
    SetUpChanged,
    StringOpened,
)
from deploy.demo.bench import CHRONOS
from deploy.demo.markers import CREEPS, CREEPS_BY, MORNING_C, NOON_C, PER_KELVIN
from deploy.demo.opening import RULES
from deploy.demo.rounds import FAULTY, READS_LOW_FPS
from services.clearance import model as clearance
from services.core.command import Moment
from services.core.folds import Folds
from services.velocity import fleet
from services.velocity.history import HISTORY
from services.velocity.measured_well import measured_well
from services.velocity.metrology.drift import trend
from services.velocity.metrology.paired import compare
from services.velocity.metrology.run_length import average_run_length
from services.velocity.states import CHRONO

pytestmark = pytest.mark.timeout(400)
CHARTS = RULES.velocity.chrono


@pytest.fixture(scope="module")
def events(demo_day):
    return demo_day.events


def of(events, kind, **fields):
    """The events of a kind whose data say this."""
    return [
        event
        for event in events
        if isinstance(event.data, kind) and all(getattr(event.data, name) == value for name, value in fields.items())
    ]


@pytest.fixture(scope="module")
def closed(events):
    """The check that closed the faulty chronograph."""
    (bad,) = [one for one in of(events, ChronoChecked) if not one.data.good]
    assert bad.data.chrono == FAULTY
    return bad


@pytest.fixture(scope="module")
def last_good(events, closed):
    return [one for one in of(events, ChronoChecked, chrono=FAULTY) if one.position < closed.position][-1]


def test_the_first_check_after_noon_closes_the_chronograph_and_theory_needs_little_more_than_one_on_average(
    events, closed
):
    checks = [one for one in of(events, ChronoChecked, chrono=FAULTY) if one.occurred_at.hour >= 12]
    after = checks.index(closed) + 1
    theory = average_run_length(
        weight=CHARTS.ewma_weight,
        width=CHARTS.ewma_width,
        shift=READS_LOW_FPS / CHARTS.check_sd_fps,
        single=CHARTS.shewhart_width,
    )
    assert after == 1, f"found after {after} checks; the average run length is {theory:.3f}"
    # By hand: a single check misses a shift of 5 sd with Φ(3 - 5) = 0.0228 (normal table), so 1/(1 - 0.0228) = 1.023 checks by Shewhart's chart alone.
    assert 1.0 <= theory <= 1.0233
    assert "shewhart" in closed.data.signals
    assert closed.data.bias_fps == pytest.approx(-READS_LOW_FPS, abs=3 * CHARTS.check_sd_fps)


def test_no_check_of_a_sound_chronograph_was_a_false_alarm(events, closed):
    assert [one for one in of(events, ChronoChecked) if not one.data.good] == [closed]
    assert len(of(events, ChronoChecked)) > 20
    assert all(len(one.data.readings_fps) == len(one.data.reference_fps) == 3 for one in of(events, ChronoChecked))


def test_it_is_worked_on_and_measures_nothing_until_its_next_good_check(events, closed):
    (work,) = of(events, ChronoAdjusted)
    good = next(one for one in of(events, ChronoChecked, chrono=FAULTY) if one.position > work.position)
    assert closed.position < work.position < good.position
    assert good.data.good
    assert abs(good.data.bias_fps) < CHARTS.bias_fps
    meanwhile = [one for one in of(events, MarkerTested) if closed.position < one.position < good.position]
    assert all(one.data.chrono != FAULTY for one in meanwhile)


def latest_strings(events):
    """Each marker's latest string in its present set-up, read off the record with a pencil."""
    latest = {}
    for event in events:
        match event.data:
            case MarkerTested(marker=marker):
                latest[marker] = event
            case SetUpChanged(marker=marker, change=change) if change not in {
                "refill",
                "squeegee",
                "hopper",
                "battery",
            }:
                latest.pop(marker, None)
            case MarkerSpotChecked(marker=marker, finding="over_bench" | "over_stop") | GearReleased(marker=marker):
                latest.pop(marker, None)
    return latest


def holders(events):
    """Whose hands each marker is in."""
    hands = {}
    for event in events:
        match event.data:
            case MarkerRegistered(marker=marker, owner=player) | GearIssued(marker=marker, player=player) if player:
                hands[marker] = player
            case MarkerSwapped(returned=returned, marker=marker, player=player):
                hands.pop(returned, None)
                hands[marker] = player
            case GearReturned(marker=marker):
                hands.pop(marker, None)
    return hands


def fields_of(events):
    return {player: one.data.field for one in of(events, RotationAssigned) for player in one.data.players}


@pytest.fixture(scope="module")
def affected(events, closed, last_good):
    """Markers of which a reading, corrected by what the chronograph was found off, reaches the limit: by a calculation of this test's own."""
    before = events[: closed.position]
    limits = {one.data.field: one.data.limit_fps for one in of(before, FieldConfigured)}
    hands, field = holders(before), fields_of(before)
    return {
        marker: hands[marker]
        for marker, string in latest_strings(before).items()
        if string.data.chrono == FAULTY
        and last_good.position < string.position
        and marker in hands
        and max(string.data.readings_fps) - closed.data.bias_fps >= limits[field[hands[marker]]]
    }


def test_the_markers_that_may_be_too_fast_are_not_cleared_and_no_others(events, closed, affected):
    before = events[: closed.position]
    folds, states = Folds("faults", clearance.FOLDS), {}
    folds.apply(before, states)
    given, field = folds.given(states), fields_of(before)
    moment = Moment(
        now=closed.recorded_at,
        occurred_at=closed.recorded_at,
        day=closed.day,
        rules=RULES,
        position=closed.position,
    )
    doubted = {
        one.data.player
        for one in of(before, PlayerRegistered)
        if "chrono_untrusted"
        in {reason.code for reason in clearance.reasons(given, one.data.player, field[one.data.player], moment)}
    }
    assert doubted == set(affected.values())
    assert len(doubted) > 1


def test_who_carries_one_of_them_plays_again_only_once_it_has_been_measured_anew(events, closed, affected):
    for marker, player in affected.items():
        started = next(
            one
            for one in of(events, GameStarted)
            if one.position > closed.position and player in {entrant.player for entrant in one.data.entrants}
        )
        again = [
            one for one in of(events, MarkerTested, marker=marker) if closed.position < one.position < started.position
        ]
        assert again, f"{player} was let in with {marker}"
    named = {
        offender.player
        for refused in of(events, StartRefused)
        for offender in refused.data.offenders
        if "chrono_untrusted" in {reason.code for reason in offender.reasons}
    }
    assert named == set(affected.values())


def test_the_rest_that_it_measured_since_its_last_good_check_is_measured_again_too(events, closed, last_good):
    measured = {
        marker
        for marker, string in latest_strings(events[: closed.position]).items()
        if string.data.chrono == FAULTY and string.position > last_good.position
    }
    again = {one.data.marker for one in of(events, MarkerTested) if one.position > closed.position}
    assert len(measured) > 20
    assert measured <= again


def noon_pairs(events, closed, last_good):
    """The mean of each marker's strings in one set-up on both chronographs in that hour, the faulty one's first."""
    pairs, seen = [], {}
    for event in events[last_good.position : closed.position]:
        match event.data:
            case SetUpChanged(marker=marker):
                seen.pop(marker, None)
            case MarkerTested(marker=marker, chrono=chrono, readings_fps=readings):
                means = seen.setdefault(marker, {})
                means[chrono] = fsum(readings) / len(readings)
                if len(means) == 2:
                    pairs.append((means.pop(FAULTY), means.popitem()[1]))
                    del seen[marker]
    return zip(*pairs, strict=True)


def test_the_two_chronographs_are_found_to_disagree_by_about_four(events, closed, last_good):
    first, second = noon_pairs(events, closed, last_good)
    found = compare(first, second, confidence=1 - CHARTS.disagree_risk)
    assert found.n >= 10
    assert found.p < CHARTS.disagree_risk
    assert found.lower_fps < -READS_LOW_FPS < found.upper_fps < 0
    assert found.p == pytest.approx(ttest_rel(first, second).pvalue)  # SciPy's paired test


def speeds(events, marker):
    """Hours after eight, and the mean of what was read, of a marker's strings and spot checks."""
    found = []
    for event in events:
        hours = event.occurred_at.hour - 8 + event.occurred_at.minute / 60
        match event.data:
            case MarkerTested(marker=name, readings_fps=readings, chrono=chrono) if name == marker:
                if not (chrono == FAULTY and 4 <= hours < 5):
                    found.append((hours, fsum(readings) / len(readings)))
            case MarkerSpotChecked(marker=name, speed_fps=speed) if name == marker:
                found.append((hours, speed))
    return found


def test_the_marker_that_creeps_is_found_while_every_reading_of_it_is_still_under_the_limit(events):
    hours, means = zip(*speeds(events, CREEPS), strict=True)
    found = trend(hours, means)
    assert found.n >= 8
    assert found.p < 0.001
    reach = t.ppf(0.995, found.n - 2) * found.standard_error
    assert found.slope + reach > 60 * CREEPS_BY
    assert found.slope - reach < 60 * CREEPS_BY + PER_KELVIN * (NOON_C - MORNING_C) / 4, (
        "what the warmer day gives each"
    )
    assert found.slope == pytest.approx(linregress(hours, means).slope)  # SciPy's least squares
    assert found.p == pytest.approx(linregress(hours, means).pvalue)
    readings = [speed for one in of(events, MarkerTested, marker=CREEPS) for speed in one.data.readings_fps]
    readings += [one.data.speed_fps for one in of(events, MarkerSpotChecked, marker=CREEPS)]
    assert max(readings) < 285


def test_no_other_marker_of_the_fleet_is_taken_for_one_that_creeps(events):
    """Holm's correction over all that were measured three times or more (Holm 1979)."""
    markers = {one.data.marker for one in of(events, MarkerTested)}
    trends = {marker: trend(*zip(*speeds(events, marker), strict=True)) for marker in markers}
    looked_at = sorted((one.p, one.slope, marker) for marker, one in trends.items() if one is not None)
    found = []
    for place, (p, slope, marker) in enumerate(looked_at):
        if p * (len(looked_at) - place) >= 0.01:
            break
        found.append((marker, slope > 0))
    assert len(looked_at) > 10
    assert found == [(CREEPS, True)]


def test_the_fleets_report_names_that_marker_and_no_other(events):
    names = [one.data.marker for one in of(events, MarkerRegistered, owner=None)]
    histories = [told(events, HISTORY, name) for name in names]
    chronos = {name: told(events, CHRONO, name) for name in CHRONOS}
    found = fleet.report(measured_well(histories, chronos, CHARTS), None, None)
    creeping = {looked.name for looked in found.markers for one in looked.results if one.kind == "creep" and one.found}
    assert creeping == {CREEPS}


def told(events, fold, name):
    """What the record makes of one subject."""
    tag = fold.tag(name)
    return fold.over(name, (one for one in events if tag in one.tags))


def test_what_an_instrument_sends_makes_the_string_that_is_judged(events):
    opened = of(events, StringOpened)
    assert len(opened) > 30
    for string in opened:
        sent = of(events, ReadingTaken, test=string.data.test)
        (tested,) = of(events, MarkerTested, test=string.data.test)
        assert tested.data.readings_fps == tuple(one.data.speed_fps for one in sent if one.data.misread is None)
        assert [one.kind for one in tested.data.misreads] == [one.data.misread for one in sent if one.data.misread]
        assert tested.position == sent[-1].position + 1


def test_misreads_are_on_record_beside_the_readings(events):
    strings = of(events, MarkerTested)
    assert {misread.kind for one in strings for misread in one.data.misreads} == {
        "no_shot",
        "beam_lost",
        "double_trigger",
    }
    assert all(len(one.data.readings_fps) == 3 for one in strings)
    assert min(speed for one in strings for speed in one.data.readings_fps) > RULES.velocity.lowest_fps


def test_each_chronograph_is_checked_before_opening_and_every_hour_or_so(events):
    for chrono in CHRONOS:
        checks = of(events, ChronoChecked, chrono=chrono)
        first = next((one for one in of(events, MarkerTested, chrono=chrono)), events[-1])
        assert checks[0].position < first.position
        assert all((late.occurred_at - early.occurred_at).total_seconds() < 4000 for early, late in pairwise(checks))
