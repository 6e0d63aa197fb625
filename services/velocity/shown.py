"""Speeds as screens and sentences show them: in the park's own unit, rounded for the eye only. Nothing is ever decided on these."""

from contracts.rules import VelocityRules
from services.velocity.metrology.units import joules, mps_from_fps


def shown(speed_fps: float, ball_g: float, rules: VelocityRules) -> str:
    """A speed in ft/s as `281.4 ft/s`, `85.8 m/s`, or as the energy of a ball of a mass in grams, `11.77 J`."""
    if rules.unit == "joules":
        return f"{round(joules(speed_fps, ball_g), 2):g} J"
    if rules.unit == "mps":
        return f"{round(mps_from_fps(speed_fps), 1):g} m/s"
    return f"{round(speed_fps, 1):g} ft/s"


def shown_difference(speed_fps: float, rules: VelocityRules) -> str:
    """A difference of speeds in ft/s: `12 ft/s`, `3.7 m/s`. In joules it depends on where it begins, so ft/s there too, as chronographs show."""
    return f"{mps_from_fps(speed_fps):.1f} m/s" if rules.unit == "mps" else f"{speed_fps:.0f} ft/s"
