"""Who of those that are there plays the next game of a field: the exact optimum of a small programme.

The game has two teams whose numbers differ by one at most, groups whole on one of them, and no more players than the field has places. Of all such
games it is the one that takes the most waiting off the yard: the sum over its parties of players times minutes waited. Found by dynamic
programming over the number of players (the knapsack problem; Kellerer, Pferschy and Pisinger, Knapsack Problems, 2004, from memory); where
what it found makes no two teams, over the numbers of both.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import ceil
from typing import Any

import numpy as np
from numpy.typing import NDArray

from services.games.rotation.units import Unit

Floats = NDArray[np.float64]
Shares = tuple[tuple[int, int], ...]
"""How many of a unit may be on the first team and how many on the second."""


def seat(  # noqa: PLR0913 - who, what each is worth, what the field allows
    units: Iterable[Unit],
    worth: Mapping[int, float],
    places: int,
    *,
    forced: Sequence[Unit] = (),
    fewest: int = 1,
    levels: frozenset[int] = frozenset(),
) -> list[Unit]:
    """The game of the highest worth of so many players at least, with everybody in `forced`; empty where there is none.

    `worth` is each unit's by its `id`, above 0; `levels` who may be on both teams.
    """
    must = {id(unit) for unit in forced}
    asked = [*forced, *_worthy([unit for unit in units if id(unit) not in must], worth, places, levels)]
    found = _best(asked, worth, len(forced), _any_team, (places + 1,), fewest, places)
    if not found or two_teams(found, levels):
        return found
    half = ceil(places / 2)

    def teams(unit: Unit) -> Shares:
        first = range(unit.players + 1) if id(unit) in levels else (unit.players, 0)
        return tuple((one, unit.players - one) for one in first)

    return _best(asked, worth, len(forced), teams, (half + 1, half + 1), fewest, places)


def outnumbering(there: Sequence[Unit]) -> frozenset[int]:
    """Who may be on both teams: whom no field has on one, and who outnumbers all the others that are there."""
    total = sum(unit.players for unit in there)
    return frozenset(id(unit) for unit in there if unit.levels or unit.players > total - unit.players + 1)


def two_teams(units: Iterable[Unit], levels: frozenset[int]) -> bool:
    """Whether they make two teams that differ by one at most: some of the whole ones fill one of them, and whoever levels does the rest."""
    reached, whole, total = 1, 0, 0
    for unit in units:
        total += unit.players
        if id(unit) not in levels:
            whole += unit.players
            reached |= reached << unit.players
    most = ceil(total / 2)
    least = max(0, whole - most)
    return bool((reached >> least) & ((1 << (most - least + 1)) - 1)) if most >= least else False


def _worthy(units: Sequence[Unit], worth: Mapping[int, float], places: int, levels: frozenset[int]) -> list[Unit]:
    """Of equal numbers only so many as a game holds can be in the best one: those of the highest worth."""
    kept: dict[tuple[int, bool], int] = {}
    found = []
    for unit in sorted(units, key=lambda one: -worth[id(one)]):
        kind = (unit.players, id(unit) in levels)
        kept[kind] = kept.get(kind, 0) + 1
        if kept[kind] * unit.players <= places:
            found.append(unit)
    return found


def _any_team(unit: Unit) -> tuple[tuple[int], ...]:
    return ((unit.players,),)


def _best(  # noqa: PLR0913, PLR0917 - the same for one number and for two
    asked: Sequence[Unit],
    worth: Mapping[int, float],
    forced: int,
    shares: Any,
    shape: tuple[int, ...],
    fewest: int,
    places: int,
) -> list[Unit]:
    """The best of all games, over every state of numbers that can be reached; the first so many are in it."""
    best: Floats = np.full(shape, -np.inf)
    best[(0,) * len(shape)] = 0.0
    picks = []
    for index, unit in enumerate(asked):
        found = np.full_like(best, -np.inf) if index < forced else best.copy()
        pick = np.full(shape, -1, dtype=np.int16)
        for choice, share in enumerate(shares(unit)):
            if any(part >= size for part, size in zip(share, shape, strict=True)):
                continue
            here = tuple(slice(part, None) for part in share)
            before = best[tuple(slice(None, size - part) for part, size in zip(share, shape, strict=True))]
            there = before + worth[id(unit)]
            better = there > found[here]
            np.copyto(found[here], there, where=better)
            pick[here][better] = choice
        best = found
        picks.append(pick)
    return _traced(asked, picks, shares, _best_end(best, fewest, places))


def _best_end(best: Floats, fewest: int, places: int) -> tuple[int, ...] | None:
    """The best state of so many players, on two teams that differ by one at most."""
    ends = [
        state
        for state in zip(*(axis.tolist() for axis in np.nonzero(best > -np.inf)), strict=True)
        if max(1, fewest) <= sum(state) <= places and max(state) - min(state) <= (1 if len(state) > 1 else 0)
    ]
    return max(ends, key=lambda state: (best[state], state), default=None)


def _traced(asked: Sequence[Unit], picks: Sequence[NDArray[np.int16]], shares: Any, end: Any) -> list[Unit]:
    found: list[Unit] = []
    if end is None:
        return found
    for unit, pick in zip(reversed(asked), reversed(picks), strict=True):
        choice = int(pick[end])
        if choice >= 0:
            found.append(unit)
            end = tuple(number - part for number, part in zip(end, shares(unit)[choice], strict=True))
    return found
