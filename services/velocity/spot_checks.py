"""Spot checks: one reading on a field. It is no caution; a marker that is too fast goes, covered, off the field to be tested again."""

from collections.abc import Iterable
from typing import Literal, NamedTuple

from contracts.envelope import Data
from contracts.rules import VelocityRules
from contracts.velocity import MarkerSpotChecked, SpotCheckMarker
from services.core.command import Moment, must_know
from services.core.fold import Given
from services.velocity.judging import reaches
from services.velocity.limits import ball_mass, stop_limit, strictest
from services.velocity.states import BENCH, LIMITS, Bench, Limits


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
