"""Spot checks: one reading on a field. It is no caution; a marker that is too fast goes, covered, off the field to be tested again."""

from collections.abc import Iterable
from typing import Literal, NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.problems import NotInThatState
from contracts.rules import VelocityRules
from contracts.velocity import MarkerSpotChecked, SpotCheckMarker, SpotCheckVoided, VoidSpotCheck
from services.core.command import Moment, must_know
from services.core.fold import Evolve, Fold, Given
from services.core.withdrawing import Noted, must_be_withdrawable
from services.velocity.judging import reaches
from services.velocity.limits import ball_mass, stop_limit, strictest
from services.velocity.states import BENCH, LIMITS, Bench, Limits


class SpotChecks(Struct, frozen=True):
    """The spot checks of a marker, by name."""

    marker: str
    noted: dict[str, Noted] = {}


class SpotFound(NamedTuple):
    """What a reading on a field comes to, with both limits in ft/s for the ball that the marker shoots."""

    bench_limit_fps: float
    stop_limit_fps: float
    finding: Literal["under", "over_bench", "over_stop"]


def spot_found(speed_fps: float, marker: Bench, limits: Limits, rules: VelocityRules) -> SpotFound:
    """One reading against both limits: one that reaches the bench limit sends the marker off to be tested again."""
    ball_g = ball_mass(marker.calibre, marker.tests[-1].ball_g if marker.tests else None, rules)
    bench, stop = strictest(limits, ball_g, rules).limit_fps, stop_limit(limits, ball_g, rules)
    if reaches(speed_fps, stop, rules):
        return SpotFound(bench, stop, "over_stop")
    return SpotFound(bench, stop, "over_bench" if reaches(speed_fps, bench, rules) else "under")


def spot_check(command: SpotCheckMarker, given: Given, moment: Moment) -> Iterable[Data]:
    """A reading on the field against both limits of that field as they are now, which stay with the event."""
    marker, limits = given.of(BENCH, command.marker), given.of(LIMITS, command.field)
    must_know(marker.registered, f"marker:{command.marker}")
    must_know(limits.bench, f"field:{command.field}")
    found = spot_found(command.speed_fps, marker, limits, moment.rules.velocity)
    return [
        MarkerSpotChecked(
            check=command.check,
            marker=command.marker,
            field=command.field,
            game=command.game,
            player=command.player,
            speed_fps=command.speed_fps,
            bench_limit_fps=found.bench_limit_fps,
            stop_limit_fps=found.stop_limit_fps,
            finding=found.finding,
        )
    ]


def void_spot_check(command: VoidSpotCheck, given: Given, moment: Moment) -> Iterable[Data]:
    """It says that the reading was noted wrongly, and clears no marker: one that was too fast is tested again, whoever says what."""
    noted = given.of(SPOT_CHECKS, command.marker).noted.get(command.check)
    must_know(noted, f"spot check:{command.check}")
    if noted is None or noted.voided:
        raise NotInThatState(f"Spot check {command.check} has been withdrawn already. Nothing is to be done.")
    must_be_withdrawable(noted, f"Spot check {command.check}", moment)
    return [SpotCheckVoided(check=command.check, marker=command.marker, field=noted.field)]


def _noted(checks: SpotChecks, event: Recorded[MarkerSpotChecked]) -> SpotChecks:
    data = event.data
    noted = Noted(event.device, event.occurred_at, data.field, data.game)
    return replace(checks, noted={data.check: noted} | checks.noted)


def _voided(checks: SpotChecks, event: Recorded[SpotCheckVoided]) -> SpotChecks:
    noted = checks.noted.get(event.data.check)
    return replace(checks, noted=checks.noted | {event.data.check: replace(noted, voided=True)}) if noted else checks


_SPOT_CHECKS: dict[type[Data], Evolve[SpotChecks]] = {MarkerSpotChecked: _noted, SpotCheckVoided: _voided}
SPOT_CHECKS: Fold[SpotChecks] = Fold("velocity.spot_checks", "marker", SpotChecks, _SPOT_CHECKS)
