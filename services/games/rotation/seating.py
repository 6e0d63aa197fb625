"""Who of those that are there plays the next game of a field: the exact optimum of a small programme.

The game has two teams whose numbers differ by one at most, groups whole on one of them, and no more players than the field has places. Of all such
games it is the one that takes the most waiting off the yard: the sum over its parties of players times minutes waited. Found by dynamic
programming over the numbers of both teams (a knapsack with two compartments; Kellerer, Pferschy and Pisinger, Knapsack Problems, 2004, from memory).
"""

from collections.abc import Mapping, Sequence
from math import ceil

import numpy as np
from numpy.typing import NDArray

from services.games.rotation.units import Unit


def seat(units: Sequence[Unit], worth: Mapping[int, float], places: int, forced: Sequence[Unit] = ()) -> list[Unit]:
    """The game of the highest worth with everybody in `forced`; empty where there is none.

    `worth` is each unit's by its `id`, above 0.
    """
    must = {id(unit) for unit in forced}
    rest = [unit for unit in units if id(unit) not in must]
    levels = _levelling([*forced, *rest])
    half = ceil(places / 2)
    best: NDArray[np.float64] = np.full((half + 1, half + 1), -np.inf)
    best[0, 0] = 0.0
    asked, picks = [*forced, *_worthy(rest, worth, places, levels)], []
    for index, unit in enumerate(asked):
        best, pick = _with(best, unit.players, worth[id(unit)], both=id(unit) in levels, must=index < len(forced))
        picks.append(pick)
    return _traced(asked, picks, _best_end(best, places))


def _levelling(units: Sequence[Unit]) -> set[int]:
    """Who may be on both teams: whom no field has on one, and who outnumbers all the others that are there."""
    total = sum(unit.players for unit in units)
    return {id(unit) for unit in units if unit.levels or unit.players > total - unit.players + 1}


def _worthy(units: Sequence[Unit], worth: Mapping[int, float], places: int, levels: set[int]) -> list[Unit]:
    """Of equal numbers only so many as a game holds can be in the best one: those of the highest worth."""
    kept: dict[tuple[int, bool], int] = {}
    found = []
    for unit in sorted(units, key=lambda one: -worth[id(one)]):
        kind = (unit.players, id(unit) in levels)
        kept[kind] = kept.get(kind, 0) + 1
        if unit.players <= places and kept[kind] * unit.players <= places:
            found.append(unit)
    return found


def _with(
    best: NDArray[np.float64], players: int, worth: float, *, both: bool, must: bool
) -> tuple[NDArray[np.float64], NDArray[np.int16]]:
    """The best worth for every pair of numbers once this unit was asked; and how many of it are on the first team, -1 where it is out."""
    size = best.shape[0]
    found = np.full_like(best, -np.inf) if must else best.copy()
    pick = np.full(best.shape, -1, dtype=np.int16)
    for first in range(players + 1) if both else (players, 0):
        second = players - first
        if first >= size or second >= size:
            continue
        there = best[: size - first, : size - second] + worth
        here, took = found[first:, second:], pick[first:, second:]
        better = there > here
        here[better] = there[better]
        took[better] = first
    return found, pick


def _best_end(best: NDArray[np.float64], places: int) -> tuple[int, int] | None:
    size = best.shape[0]
    ends = [
        (first, second)
        for first in range(size)
        for second in (first - 1, first, first + 1)
        if 0 <= second < size and 0 < first + second <= places and best[first, second] > -np.inf
    ]
    return max(ends, key=lambda end: (best[end], end), default=None)


def _traced(asked: Sequence[Unit], picks: Sequence[NDArray[np.int16]], end: tuple[int, int] | None) -> list[Unit]:
    found: list[Unit] = []
    if end is None:
        return found
    first, second = end
    for unit, pick in zip(reversed(asked), reversed(picks), strict=True):
        took = int(pick[first, second])
        if took >= 0:
            found.append(unit)
            first, second = first - took, second - (unit.players - took)
    return found
