"""Velocity: what a string of readings says about a marker as it is set up now, on a field with its own limit.

A test belongs to the marker in its set-up, not to who holds it. Its readings are judged against the field that is asked, so one
string may serve a field of 285 ft/s and not one of 260. Whatever changes the set-up voids it. Nobody strikes out a high reading:
a marker that was too fast stays so until its set-up has been changed. Local law and the insurer's limits come first.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Literal

from msgspec.structs import replace

from contracts.envelope import Data, Reason
from contracts.judgement import Bound, Judgement
from contracts.reasons import reason
from contracts.rules import VelocityRules
from contracts.velocity import (
    AdjustChrono,
    ChangeSetUp,
    CheckChrono,
    ChronoAdjusted,
    ChronoRegistered,
    MarkerSpotChecked,
    MarkerTested,
    RegisterChrono,
    SetUpChanged,
    SpotCheckMarker,
    TestMarker,
)
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given
from services.velocity import chronos as instruments
from services.velocity.judging import Shot, judgement, reaches, verdict
from services.velocity.limits import ball_mass, stop_limit, strictest
from services.velocity.misreads import sorted_out
from services.velocity.states import BENCH, CHRONO, LIMITS, Bench, Chrono, Limits, Tested, Weather


def shot(bench: Bench, tested: Tested, rules: VelocityRules) -> Shot:
    """One of a marker's strings, as it is judged."""
    return Shot(
        tested.readings,
        ball_mass(bench.calibre, tested.ball_g, rules),
        tested.misreads,
        low_pressure=tested.low_pressure,
        rate_bps=tested.rate_bps,
        calibre=bench.calibre,
    )


def bound_of(bench: Bench, tested: Tested, limits: Limits, rules: VelocityRules) -> Bound:
    """The bound of a field for the ball that a string was shot with."""
    return strictest(limits, ball_mass(bench.calibre, tested.ball_g, rules), rules)


def judged(bench: Bench, limits: Limits, rules: VelocityRules) -> Judgement | None:
    """What a marker's strings in its present set-up say about a field: one that turned it down stands until the set-up changes, else the latest."""
    slow = fast = None
    for tested in bench.tests:
        found = judgement(shot(bench, tested, rules), bound_of(bench, tested, limits, rules), rules)
        if found.verdict == "turn_down":
            fast = found if fast is None or (found.held_fps or 0) > (fast.held_fps or 0) else fast
        slow = found
    return fast or slow


def reasons(  # noqa: PLR0913, PLR0917 - a marker, a field, a moment
    bench: Bench,
    chronos: Mapping[str, Chrono],
    limits: Limits,
    weather: Weather,
    moment: Moment,
    since: datetime | None,
) -> list[Reason]:
    """Every reason why a marker, as it is set up now, is not cleared for a field's limits. `since`: when its owner came to the park."""
    rules = moment.rules.velocity
    tag = f"marker:{bench.marker}"
    if not bench.tests:
        code = {"": "marker_not_tested", "spot_check": "spot_check_failed"}.get(bench.void_cause, "test_voided")
        return [reason(code, tag)]
    found: list[Reason] = []
    latest = bench.tests[-1]
    verdicts = [verdict(shot(bench, one, rules), bound_of(bench, one, limits, rules), rules)[0] for one in bench.tests]
    if "turn_down" in verdicts:
        found.append(_too_fast(bench, limits, rules, tag))
    elif verdicts[-1] == "inconclusive":
        found.append(reason("test_inconclusive", tag))
    if _expired(bench, latest, moment, since):
        found.append(reason("test_expired", tag))
    found += _chrono_reasons(bench, latest, chronos, limits, rules, tag)
    if _warmer(bench, latest, weather, rules):
        found.append(reason("warmer_since_test", tag))
    return found


def _too_fast(bench: Bench, limits: Limits, rules: VelocityRules, tag: str) -> Reason:
    found = judged(bench, limits, rules)
    if found is None or found.held_fps is None or found.turn_down_fps is None:
        return reason("too_fast", tag, "Its rate of fire is too high: set it down, record that, and test it again.")
    bound = "under" if rules.comparison == "<" else "at most"
    what = {"every": "was measured", "mean": "is its mean with the guard band", "next_shot": "may be its next shot"}
    measured = f"{found.held_fps:g} ft/s {what[rules.basis]}; it must be {bound} {found.bound.limit_fps:g} ft/s."
    if rules.basis != "every" or found.bound.stated != f"{found.bound.limit_fps:g} ft/s":
        measured = f"{found.held_fps:.1f} ft/s {what[rules.basis]}; it must be {bound} {found.bound.limit_fps:.1f} ft/s ({found.bound.stated})."
    return reason("too_fast", tag, f"{measured} Turn it down, record that, and test it again.")


def _expired(bench: Bench, latest: Tested, moment: Moment, since: datetime | None) -> bool:
    """A player's own marker is tested for some hours of one visit, a sealed hired one until its set-up changes, any other for the day."""
    if bench.owned:
        tested_at = latest.place[0]
        lasts = timedelta(hours=moment.rules.velocity.own_marker_hours)
        return moment.now - tested_at > lasts or (since is not None and tested_at < since)
    return not latest.sealed and latest.day != moment.day


def _chrono_reasons(  # noqa: PLR0913, PLR0917 - the same, and what measured it
    bench: Bench, latest: Tested, chronos: Mapping[str, Chrono], limits: Limits, rules: VelocityRules, tag: str
) -> list[Reason]:
    """A chronograph found out of control: corrected by its bias the readings must still pass; a bias unknown clears nobody."""
    trust = instruments.trust(chronos.get(latest.chrono, Chrono(latest.chrono)), latest.place, rules.chrono)
    if trust.trusted or (trust.bias_fps is not None and passes_corrected(bench, latest, trust.bias_fps, limits, rules)):
        return []
    return [reason("chrono_untrusted", tag)]


def passes_corrected(bench: Bench, tested: Tested, bias_fps: float, limits: Limits, rules: VelocityRules) -> bool:
    """Whether a string still is not too fast once each reading is corrected by what the chronograph was off."""
    corrected = replace(tested, readings=tuple(speed - bias_fps for speed in tested.readings))
    found, _ = verdict(shot(bench, corrected, rules), bound_of(bench, tested, limits, rules), rules)
    return found != "turn_down"


def _warmer(bench: Bench, latest: Tested, weather: Weather, rules: VelocityRules) -> bool:
    if latest.temperature_c is None or weather.temperature_c is None:
        return False
    allowed = rules.rise_co2_c if bench.gas == "co2" else rules.rise_air_c
    return weather.temperature_c - latest.temperature_c > allowed


def register_chrono(command: RegisterChrono, given: Given, _: Moment) -> Iterable[Data]:
    must_be_new(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    return [ChronoRegistered(chrono=command.chrono)]


def check_chrono(command: CheckChrono, given: Given, moment: Moment) -> Iterable[Data]:
    """The check as the charts judge it at the moment when it was made; a later one that comes late does not judge it anew."""
    chrono = given.of(CHRONO, command.chrono)
    must_know(chrono.registered, f"chrono:{command.chrono}")
    place = (moment.occurred_at, moment.position + 1)
    return [instruments.checked(command, chrono, place, moment.rules.velocity.chrono)]


def adjust_chrono(command: AdjustChrono, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    return [ChronoAdjusted(chrono=command.chrono, work=command.work)]


def record_test(command: TestMarker, given: Given, moment: Moment) -> Iterable[Data]:
    must_know(given.of(BENCH, command.marker).registered, f"marker:{command.marker}")
    must_know(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    readings, misreads = sorted_out(command.readings_fps, command.misreads, moment.rules.velocity)
    return [
        MarkerTested(
            test=command.test,
            marker=command.marker,
            chrono=command.chrono,
            readings_fps=readings,
            misreads=misreads,
            low_pressure=command.low_pressure,
            sealed=command.sealed,
            temperature_c=command.temperature_c,
            ball_g=command.ball_g,
            rate_bps=command.rate_bps,
        )
    ]


def change_set_up(command: ChangeSetUp, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(BENCH, command.marker).registered, f"marker:{command.marker}")
    return [SetUpChanged(marker=command.marker, change=command.change, firing_mode=command.firing_mode)]


def spot_check(command: SpotCheckMarker, given: Given, moment: Moment) -> Iterable[Data]:
    """A reading on the field against both limits of that field as they are now, which stay with the event."""
    marker = given.of(BENCH, command.marker)
    must_know(marker.registered, f"marker:{command.marker}")
    limits = given.of(LIMITS, command.field)
    must_know(limits.bench, f"field:{command.field}")
    rules = moment.rules.velocity
    ball_g = ball_mass(marker.calibre, marker.tests[-1].ball_g if marker.tests else None, rules)
    bench, stop = strictest(limits, ball_g, rules).limit_fps, stop_limit(limits, ball_g, rules)
    finding: Literal["under", "over_bench", "over_stop"] = "under"
    if reaches(command.speed_fps, stop, rules):
        finding = "over_stop"
    elif reaches(command.speed_fps, bench, rules):
        finding = "over_bench"
    return [
        MarkerSpotChecked(
            check=command.check,
            marker=command.marker,
            field=command.field,
            game=command.game,
            player=command.player,
            speed_fps=command.speed_fps,
            bench_limit_fps=bench,
            stop_limit_fps=stop,
            finding=finding,
        )
    ]
