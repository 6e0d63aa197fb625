"""Pairs: what two chronographs read of the same markers in the same set-up, on the same day, since either was last worked on."""

from collections.abc import Iterable
from datetime import date
from math import fsum

from contracts.rules import ChronoRules
from services.velocity.metrology.paired import Disagreement, compare
from services.velocity.states import Bench, Chrono

LEAST_PAIRS = 4
"""Fewer markers than these say nothing, however alike the differences: displays round, so two or three may agree by chance alone."""


def disagreement(one: Chrono, other: Chrono, benches: Iterable[Bench], rules: ChronoRules) -> Disagreement | None:
    """By how much the first reads higher than the other, where that is less likely by chance than the rules' risk; the interval is of that risk too."""
    pairs = [pair for bench in benches for pair in _pairs(one, other, bench)]
    if len(pairs) < LEAST_PAIRS:
        return None
    first, second = zip(*pairs, strict=True)
    found = compare(first, second, confidence=1 - rules.disagree_risk)
    return found if found is not None and found.p < rules.disagree_risk else None


def _pairs(one: Chrono, other: Chrono, bench: Bench) -> Iterable[tuple[float, float]]:
    """The means of a marker's strings on both in its present set-up, a pair for each day on which both measured it."""
    first, second = _means(one, bench), _means(other, bench)
    return ((first[day], second[day]) for day in first.keys() & second.keys())


def _means(chrono: Chrono, bench: Bench) -> dict[date, float]:
    worked = max(chrono.works, default=None)
    means: dict[date, list[float]] = {}
    for tested in bench.tests:
        if tested.chrono == chrono.chrono and tested.readings and (worked is None or tested.place > worked):
            means.setdefault(tested.day, []).append(fsum(tested.readings) / len(tested.readings))
    return {day: fsum(strings) / len(strings) for day, strings in means.items()}
