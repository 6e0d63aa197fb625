"""Velocity: what a string of readings says about a marker as it is set up now, on a field with its own limit.

A test belongs to the marker in its set-up, not to who holds it. Its readings are judged against the field that is asked, so one
string may serve a field of 285 ft/s and not one of 260. Whatever changes the set-up voids it. Nobody strikes out a high reading:
a marker that was too fast stays so until its set-up has been changed. Local law and the insurer's limits come first.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Literal

from contracts.envelope import Data, Reason
from contracts.reasons import reason
from contracts.rules import VelocityRules
from contracts.velocity import (
    ChangeSetUp,
    CheckChrono,
    ChronoChecked,
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
from services.velocity.states import BENCH, CHRONO, LIMITS, Bench, Chrono, Place, Tested, Weather

Verdict = Literal["pass", "turn_down", "inconclusive"]


def reaches(speed: float, limit: float, rules: VelocityRules) -> bool:
    """Whether a speed is too fast for a limit: by the park's rule a reading must be under it (`<`), or may equal it (`<=`)."""
    return speed >= limit if rules.comparison == "<" else speed > limit


def judge(readings: Sequence[float], limit: float, rules: VelocityRules, *, low_pressure: bool = False) -> Verdict:
    """What a string of readings in ft/s says about a limit in ft/s.

    One reading that is too fast turns the marker down. Else too few readings, low pressure, a wide spread or a suspiciously slow
    reading decide nothing.
    """
    if any(reaches(speed, limit, rules) for speed in readings):
        return "turn_down"
    if (
        low_pressure
        or len(readings) < rules.readings
        or max(readings) - min(readings) > rules.spread_fps
        or min(readings) < rules.lowest_fps
    ):
        return "inconclusive"
    return "pass"


def trust(chrono: Chrono, place: Place) -> tuple[bool, float | None]:
    """Whether a chronograph could be trusted at a moment: (trusted, its bias in ft/s if known)."""
    before = [check for check in chrono.checks if check[0] < place]
    after = [check for check in chrono.checks if check[0] > place]
    if not before or not before[-1][1]:
        return False, None
    if after and not after[0][1]:
        return False, after[0][2]
    return True, None


def reasons(  # noqa: PLR0913, PLR0917 - a marker, a field, a moment
    bench: Bench,
    chronos: Mapping[str, Chrono],
    limit: float,
    weather: Weather,
    moment: Moment,
    since: datetime | None,
) -> list[Reason]:
    """Every reason why a marker, as it is set up now, is not cleared for a limit in ft/s. `since`: when its owner came to the park."""
    rules = moment.rules.velocity
    tag = f"marker:{bench.marker}"
    if not bench.tests:
        code = {"": "marker_not_tested", "spot_check": "spot_check_failed"}.get(bench.void_cause, "test_voided")
        return [reason(code, tag)]
    found: list[Reason] = []
    latest = bench.tests[-1]
    fastest = max(speed for one in bench.tests for speed in one.readings)
    if reaches(fastest, limit, rules):
        bound = "under" if rules.comparison == "<" else "at most"
        measured = f"{fastest:g} ft/s was measured; it must be {bound} {limit:g} ft/s."
        found.append(reason("too_fast", tag, f"{measured} Turn it down, record that, and test it again."))
    elif judge(latest.readings, limit, rules, low_pressure=latest.low_pressure) == "inconclusive":
        found.append(reason("test_inconclusive", tag))
    if _expired(bench, latest, moment, since):
        found.append(reason("test_expired", tag))
    found += _chrono_reasons(latest, chronos, limit, rules, tag)
    if _warmer(bench, latest, weather, rules):
        found.append(reason("warmer_since_test", tag))
    return found


def _expired(bench: Bench, latest: Tested, moment: Moment, since: datetime | None) -> bool:
    """A player's own marker is tested for some hours of one visit, a sealed hired one until its set-up changes, any other for the day."""
    if bench.owned:
        tested_at = latest.place[0]
        lasts = timedelta(hours=moment.rules.velocity.own_marker_hours)
        return moment.now - tested_at > lasts or (since is not None and tested_at < since)
    return not latest.sealed and latest.day != moment.day


def _chrono_reasons(
    latest: Tested, chronos: Mapping[str, Chrono], limit: float, rules: VelocityRules, tag: str
) -> list[Reason]:
    """A chronograph found out of control: corrected by its bias the readings must still pass; a bias unknown clears nobody."""
    trusted, bias = trust(chronos.get(latest.chrono, Chrono(latest.chrono)), latest.place)
    if trusted or (bias is not None and not any(reaches(speed - bias, limit, rules) for speed in latest.readings)):
        return []
    return [reason("chrono_untrusted", tag)]


def _warmer(bench: Bench, latest: Tested, weather: Weather, rules: VelocityRules) -> bool:
    if latest.temperature_c is None or weather.temperature_c is None:
        return False
    allowed = rules.rise_co2_c if bench.gas == "co2" else rules.rise_air_c
    return weather.temperature_c - latest.temperature_c > allowed


def register_chrono(command: RegisterChrono, given: Given, _: Moment) -> Iterable[Data]:
    must_be_new(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    return [ChronoRegistered(chrono=command.chrono)]


def check_chrono(command: CheckChrono, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    return [ChronoChecked(chrono=command.chrono, good=command.good, bias_fps=command.bias_fps)]


def record_test(command: TestMarker, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(BENCH, command.marker).registered, f"marker:{command.marker}")
    must_know(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    return [
        MarkerTested(
            test=command.test,
            marker=command.marker,
            chrono=command.chrono,
            readings_fps=command.readings_fps,
            low_pressure=command.low_pressure,
            sealed=command.sealed,
            temperature_c=command.temperature_c,
        )
    ]


def change_set_up(command: ChangeSetUp, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(BENCH, command.marker).registered, f"marker:{command.marker}")
    return [SetUpChanged(marker=command.marker, change=command.change, firing_mode=command.firing_mode)]


def spot_check(command: SpotCheckMarker, given: Given, moment: Moment) -> Iterable[Data]:
    """A reading on the field against both limits of that field as they are now, which stay with the event."""
    must_know(given.of(BENCH, command.marker).registered, f"marker:{command.marker}")
    limits = given.of(LIMITS, command.field)
    must_know(limits.bench, f"field:{command.field}")
    rules = moment.rules.velocity
    finding: Literal["under", "over_bench", "over_stop"] = "under"
    if reaches(command.speed_fps, limits.stop, rules):
        finding = "over_stop"
    elif reaches(command.speed_fps, limits.bench, rules):
        finding = "over_bench"
    return [
        MarkerSpotChecked(
            check=command.check,
            marker=command.marker,
            field=command.field,
            game=command.game,
            player=command.player,
            speed_fps=command.speed_fps,
            bench_limit_fps=limits.bench,
            stop_limit_fps=limits.stop,
            finding=finding,
        )
    ]
