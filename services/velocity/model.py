"""Velocity: what a string of readings says about a marker as it is set up now, on a field with its own limit.

A test belongs to the marker in its set-up, not to who holds it. Its readings are judged against the field that is asked, so one
string may serve a field of 285 ft/s and not one of 260. Whatever changes the set-up voids it. Nobody strikes out a high reading:
a marker that was too fast stays so until its set-up has been changed. Local law and the insurer's limits come first.
"""

import math
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from msgspec.structs import replace

from contracts.envelope import Data, Reason
from contracts.judgement import Bound, Judgement, Verdict
from contracts.problems import AlreadyRecorded
from contracts.reasons import reason
from contracts.rules import VelocityRules
from contracts.velocity import (
    AdjustChrono,
    ChangeSetUp,
    CheckChrono,
    ChronoAdjusted,
    ChronoRegistered,
    MarkerTested,
    RegisterChrono,
    SetUpChanged,
    TestMarker,
)
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given
from services.velocity import chronos as instruments
from services.velocity.judging import Shot, judgement, needed, verdict
from services.velocity.limits import ball_mass, strictest
from services.velocity.misreads import sorted_out
from services.velocity.shown import shown
from services.velocity.states import BENCH, CHRONO, Bench, Chrono, Limits, Tested, Weather


def shot(bench: Bench, tested: Tested, rules: VelocityRules) -> Shot:
    """One of a marker's strings, as it is judged."""
    return Shot(
        tested.readings,
        ball_mass(bench.calibre, tested.ball_g, rules),
        tested.misreads,
        low_pressure=tested.low_pressure,
        rate_bps=tested.rate_bps,
        calibre=bench.calibre,
        firing_mode=bench.firing_mode,
    )


def bound_of(bench: Bench, tested: Tested, limits: Limits, rules: VelocityRules) -> Bound:
    """The bound of a field for the ball that a string was shot with."""
    return strictest(limits, ball_mass(bench.calibre, tested.ball_g, rules), rules)


def judged(bench: Bench, limits: Limits, rules: VelocityRules) -> Judgement | None:
    """What a marker's strings in its present set-up say about a field: the worst that turned it down stands until the set-up changes, else the latest."""

    def said(one: Tested) -> Judgement:
        return judgement(shot(bench, one, rules), bound_of(bench, one, limits, rules), rules)

    fast = [said(one) for one in _too_fast_strings(bench, limits, rules)]
    if fast:
        return min(fast, key=lambda one: math.inf if one.margin_fps is None else one.margin_fps)
    return said(bench.tests[-1]) if bench.tests else None


def _too_fast_strings(bench: Bench, limits: Limits, rules: VelocityRules) -> list[Tested]:
    """The strings of the present set-up that turn the marker down; one that is still being shot does so with what it has read."""
    open_still = (one for one in bench.opened if bench.voided is None or one.begun > bench.voided)
    return [one for one in (*bench.tests, *open_still) if _verdict(bench, one, limits, rules) == "turn_down"]


def _verdict(bench: Bench, tested: Tested, limits: Limits, rules: VelocityRules) -> Verdict:
    return verdict(shot(bench, tested, rules), bound_of(bench, tested, limits, rules), rules)[0]


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
    if _too_fast_strings(bench, limits, rules):
        found.append(_too_fast(bench, limits, rules, tag))
    elif _verdict(bench, latest, limits, rules) == "inconclusive":
        found.append(reason("test_inconclusive", tag))
    if expired(bench, latest, moment, since):
        found.append(reason("test_expired", tag))
    found += _chrono_reasons(bench, latest, chronos, limits, rules, tag)
    if _warmer(bench, latest, weather, rules):
        found.append(reason("warmer_since_test", tag))
    return found


_HELD = {"every": "was measured", "mean": "is its mean with the guard band", "next_shot": "may be its next shot"}
"""How the speed that is held against the limit is spoken of, by the basis."""


def _too_fast(bench: Bench, limits: Limits, rules: VelocityRules, tag: str) -> Reason:
    found = judged(bench, limits, rules)
    told: list[str] = []
    if found and found.held_fps is not None and found.turn_down_fps is not None:
        what = _HELD[rules.basis] if found.n >= needed(rules) else "is its mean so far"
        must = "under" if rules.comparison == "<" else "at most"
        speed, limit = (shown(one, found.ball_g, rules) for one in (found.held_fps, found.bound.limit_fps))
        stated = "" if limit == found.bound.stated else f" ({found.bound.stated})"
        told.append(f"{speed} {what}; it must be {must} {limit}{stated}. Turn it down, record that, and test it again.")
    if found and found.too_fast_a_rate:
        told.append("Its rate of fire is too high: set it down, record that, and test it again.")
    return reason("too_fast", tag, " ".join(told))


def expired(bench: Bench, latest: Tested, moment: Moment, since: datetime | None) -> bool:
    """A player's own marker is tested for some hours of one visit, a sealed hired one until its set-up changes, any other for the day."""
    if bench.owned:
        tested_at = latest.begun[0]
        lasts = timedelta(hours=moment.rules.velocity.own_marker_hours)
        return moment.now - tested_at > lasts or (since is not None and tested_at < since)
    return not latest.sealed and latest.day != moment.day


def _chrono_reasons(  # noqa: PLR0913, PLR0917 - the same, and what measured it
    bench: Bench, latest: Tested, chronos: Mapping[str, Chrono], limits: Limits, rules: VelocityRules, tag: str
) -> list[Reason]:
    """A chronograph found out of control: corrected by its bias the readings must still pass; a bias unknown clears nobody."""
    trust = instruments.trust_throughout(chronos.get(latest.chrono, Chrono(latest.chrono)), latest, rules.chrono)
    if trust.trusted or (trust.bias_fps is not None and passes_corrected(bench, latest, trust.bias_fps, limits, rules)):
        return []
    return [reason("chrono_untrusted", tag)]


def passes_corrected(bench: Bench, tested: Tested, bias_fps: float, limits: Limits, rules: VelocityRules) -> bool:
    """Whether a string still passes once all that was shown is corrected by what the chronograph was off."""
    misreads = tuple(
        one if one.speed_fps is None else replace(one, speed_fps=one.speed_fps - bias_fps) for one in tested.misreads
    )
    readings = tuple(speed - bias_fps for speed in tested.readings)
    return _verdict(bench, replace(tested, readings=readings, misreads=misreads), limits, rules) == "pass"


def _warmer(bench: Bench, latest: Tested, weather: Weather, rules: VelocityRules) -> bool:
    if latest.temperature_c is None or weather.temperature_c is None:
        return False
    return weather.temperature_c - latest.temperature_c > rise_allowed(bench, rules)


def rise_allowed(bench: Bench, rules: VelocityRules) -> float:
    """The rise in temperature in kelvin up to which a string counts: the stricter rule's where the gas is not known."""
    known = {"air": rules.rise_air_c, "co2": rules.rise_co2_c}
    return min(known.values()) if bench.gas is None else known[bench.gas]


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
    bench = given.of(BENCH, command.marker)
    must_know(bench.registered, f"marker:{command.marker}")
    must_know(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    must_not_be_open(bench, command.test)
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


def must_not_be_open(bench: Bench, test: str) -> None:
    """Raises AlreadyRecorded where a string of this marker is being shot under the same name: what it has read would be lost."""
    found = next((one for one in bench.opened if one.test == test), None)
    if found is not None:
        raise AlreadyRecorded(
            f"String {test} is open on chronograph {found.chrono}. End it first, or give this one a name of its own.",
            where="$.test",
        )


def change_set_up(command: ChangeSetUp, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(BENCH, command.marker).registered, f"marker:{command.marker}")
    return [SetUpChanged(marker=command.marker, change=command.change, firing_mode=command.firing_mode)]
