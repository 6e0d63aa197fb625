"""Limits: the strictest of what a field, the park and the law say, for the ball that is shot.

Whatever the unit in which each is stated, they are compared in ft/s: exact factors, and v = √(2E/m) for an energy.
"""

from collections.abc import Iterable
from typing import Literal

from contracts.games import FieldConfigured
from contracts.judgement import Bound
from contracts.limits import Limit
from contracts.rules import VelocityRules
from services.velocity.metrology.units import fps_from_joules, fps_from_mps
from services.velocity.states import Limits

Whose = Literal["field", "park", "law"]
HEAVIEST_G = 3.5
"""Of any ball that this is made for; taken for a calibre that the rules do not know, since a heavier ball has more energy."""


def of_field(configured: FieldConfigured) -> Limits:
    """A field's own limits, as it is set up."""
    return Limits(configured.field, configured.limit_fps, configured.stop_limit_fps, configured.limit)


def ball_mass(calibre: str | None, weighed_g: float | None, rules: VelocityRules) -> float:
    """The mass of a ball in grams: as it was weighed, else what the rules take its calibre to have."""
    if weighed_g is not None:
        return weighed_g
    known = [ball.mass_g for ball in rules.balls if calibre in {None, ball.calibre}]
    return max(known, default=HEAVIEST_G)


def strictest(field: Limits, ball_g: float, rules: VelocityRules) -> Bound:
    """The bound of the bench on a field for a ball of a mass in grams. Of equal ones the law's is named, then the park's."""
    stated: list[tuple[Whose, Limit]] = [
        ("law", rules.law),
        ("park", rules.park),
        ("field", Limit(speed_fps=field.bench)),
        ("field", field.limit),
    ]
    speeds = [(speed, whose, words) for whose, limit in stated for speed, words in _speeds(limit, ball_g)]
    speed, whose, words = min(speeds, key=lambda one: one[0])
    rates = [limit.rate_bps for _, limit in stated if limit.rate_bps is not None]
    return Bound(limit_fps=speed, source=whose, stated=words, rate_bps=min(rates, default=None))


def stop_limit(field: Limits, ball_g: float, rules: VelocityRules) -> float:
    """The speed in ft/s at which a marker leaves the field at once: the field's own, or the law's where that is lower."""
    return min([field.stop, *(speed for speed, _ in _speeds(rules.law, ball_g))])


def _speeds(limit: Limit, ball_g: float) -> Iterable[tuple[float, str]]:
    if limit.speed_fps is not None:
        yield limit.speed_fps, f"{limit.speed_fps:g} ft/s"
    if limit.speed_mps is not None:
        yield fps_from_mps(limit.speed_mps), f"{limit.speed_mps:g} m/s"
    if limit.energy_j is not None:
        yield fps_from_joules(limit.energy_j, ball_g), f"{limit.energy_j:g} J"
