"""A string of readings judged for a field that states ft/s only."""

from contracts.judgement import Bound, Verdict
from contracts.rules import VelocityRules
from services.velocity.judging import Shot, verdict


def bound(limit_fps: float) -> Bound:
    return Bound(limit_fps=limit_fps, source="field", stated=f"{limit_fps:g} ft/s")


def said(readings_fps: tuple[float, ...], limit_fps: float, rules: VelocityRules) -> Verdict:
    return verdict(Shot(readings_fps, ball_g=3.0), bound(limit_fps), rules)[0]
