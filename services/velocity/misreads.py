"""Misreads: what a chronograph showed and no reading is. Each is kept with the string; none is struck out for being high."""

from collections.abc import Iterable, Sequence

from msgspec.structs import replace

from contracts.rules import VelocityRules
from contracts.velocity import Misread, MisreadKind

BY_RULE: frozenset[MisreadKind] = frozenset({"no_shot", "impossible"})
"""The kinds that a speed alone tells, by the park's rules. The others only a person or the instrument can tell."""


def kind_of(speed_fps: float | None, rules: VelocityRules) -> MisreadKind | None:
    """What is wrong with a speed in ft/s by the park's rules; None where it is a reading."""
    if speed_fps is None:
        return "beam_lost"
    if speed_fps < rules.no_shot_fps:
        return "no_shot"
    return "impossible" if speed_fps > rules.impossible_fps else None


def sorted_out(
    shown_fps: Sequence[float], named: Iterable[Misread], rules: VelocityRules
) -> tuple[tuple[float, ...], tuple[Misread, ...]]:
    """What was shown, in its order, as readings and misreads; what somebody named a misread stays one.

    `after` of those that are given counts what was shown before each, of those that are returned the readings before each.
    """
    waiting = sorted(named, key=lambda one: one.after)
    readings: list[float] = []
    misreads: list[Misread] = []
    for place, speed in enumerate(shown_fps):
        while waiting and waiting[0].after <= place:
            misreads.append(replace(waiting.pop(0), after=len(readings)))
        kind = kind_of(speed, rules)
        if kind is None:
            readings.append(speed)
        else:
            misreads.append(Misread(kind=kind, speed_fps=speed, after=len(readings)))
    misreads += [replace(one, after=len(readings)) for one in waiting]
    return tuple(readings), tuple(misreads)


def sorted_anew(
    readings_fps: Sequence[float], misreads: Sequence[Misread], then: VelocityRules, now: VelocityRules
) -> tuple[tuple[float, ...], tuple[Misread, ...]]:
    """The same string as other rules would have sorted it out: `then` those that did. What somebody alone named a misread stays one."""
    shown: list[float] = []
    named: list[Misread] = []
    waiting = list(misreads)
    for place in range(len(readings_fps) + 1):
        while waiting and waiting[0].after <= place:
            one = waiting.pop(0)
            if one.speed_fps is not None and one.kind in BY_RULE and kind_of(one.speed_fps, then) == one.kind:
                shown.append(one.speed_fps)
            else:
                named.append(replace(one, after=len(shown)))
        shown += readings_fps[place : place + 1]
    return sorted_out(shown, named, now)
