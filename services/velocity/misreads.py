"""Misreads: what a chronograph showed and no reading is. Each is kept with the string; none is struck out for being high."""

from collections.abc import Sequence

from contracts.rules import VelocityRules
from contracts.velocity import Misread, MisreadKind


def kind_of(speed_fps: float | None, rules: VelocityRules) -> MisreadKind | None:
    """What is wrong with a speed in ft/s by the park's rules; None where it is a reading."""
    if speed_fps is None:
        return "beam_lost"
    if speed_fps < rules.no_shot_fps:
        return "no_shot"
    return "impossible" if speed_fps > rules.impossible_fps else None


def sorted_out(
    shown_fps: Sequence[float], misreads: Sequence[Misread], rules: VelocityRules
) -> tuple[tuple[float, ...], tuple[Misread, ...]]:
    """What was shown, in its order, as readings and misreads; those that somebody named such already stay so."""
    readings: list[float] = []
    found = sorted(misreads, key=lambda one: one.after)
    for place, speed in enumerate(shown_fps):
        kind = kind_of(speed, rules)
        if kind is None:
            readings.append(speed)
        else:
            found.append(Misread(kind=kind, speed_fps=speed, after=place))
    return tuple(readings), tuple(sorted(found, key=lambda one: one.after))
