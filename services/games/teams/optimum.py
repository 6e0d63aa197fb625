"""The best two teams that units can make, as a mixed-integer linear programme (HiGHS, through SciPy's `milp`): integers throughout, so an optimum is exact.

First as many players as fit, of these the ones who have played least, and then the smallest imbalance: the sum over the attributes of points times the
difference between the two teams' sums. The teams' numbers differ by one at most. Alike units are counted, not told apart, or the search would
go through all their permutations. Where everybody plays, a difference is odd or even with the total, which bounds it from below.
"""

from collections.abc import Sequence
from itertools import groupby
from math import ceil, gcd, inf
from typing import Any, Final

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from scipy.optimize import Bounds, LinearConstraint, milp

from services.games.teams.units import Unit

SHARES: Final = (0.3, 0.4, 0.2)
"""Of the time, for who plays, for the balance, and for the fewest changes."""


class Division(Struct, frozen=True):
    """Two teams of units, and who waits.

    `best`: the points of the nearest teams that were found, which the fewest changes of sides may stay away from; `bound`: what no teams of these
    players come under; `full`: that no more could play, nor ones who have played less, is proven.
    """

    teams: tuple[tuple[Unit, ...], tuple[Unit, ...]]
    waiting: tuple[Unit, ...]
    imbalance: int
    best: int
    bound: int
    full: bool
    fewest: bool = True
    """No fewer players could change sides, proven."""

    @property
    def gap(self) -> int:
        return self.best - self.bound


class Found(Struct, frozen=True):
    """Of every kind of unit, how many are on the first team and how many on the second; the objective and its proven bound."""

    counts: np.ndarray[Any, np.dtype[np.int64]]
    value: int
    bound: int

    @property
    def proven(self) -> bool:
        return self.value <= self.bound


def imbalance(teams: Sequence[Sequence[Unit]], weights: Sequence[int]) -> int:
    """Points between two teams."""
    sums = [[sum(unit.values[k] for unit in team) for k in range(len(weights))] for team in teams]
    return sum(weight * abs(one - other) for weight, one, other in zip(weights, *sums, strict=True))


def divide(
    units: Sequence[Unit], places: int, weights: Sequence[int], seconds: float, tolerance: int | None = None
) -> Division | None:
    """The best teams; with a `tolerance`, those within it that take the fewest changes of sides. None: no two teams were found.

    Takes the seconds at most, and what it takes to set up.
    """
    model = _Model(units, weights)
    seated = model.solve(*model.seating(), seconds * SHARES[0], [model.room(places)])
    if seated is None:
        return None
    playing = [model.at_table(seated)]
    balanced = model.solve(*model.balance(seated), seconds * SHARES[1], playing)
    if balanced is None:
        return None
    teams, waiting = model.named(balanced)
    best = imbalance(teams, weights)
    nearest = Division(teams, waiting, best, best, max(0, min(best, balanced.bound)), seated.proven)
    if tolerance is None or not any(any(unit.moves) for unit in units):
        return nearest
    return _fewest_changes(model, seated, nearest, max(tolerance, best), seconds * SHARES[2])


def _fewest_changes(model: "_Model", seated: Found, nearest: Division, cap: int, seconds: float) -> Division:
    """Within so many points, the fewest who change sides; among as few, the fewest points. Where none are found in time, the nearest."""
    points, rows = model.balance(seated)
    within = LinearConstraint(points, -inf, cap - model.offset)
    changed = model.solve((cap + 1) * model.moves() + points, rows, seconds, [model.at_table(seated), within])
    if changed is None:
        return replace(nearest, fewest=False)
    teams, waiting = model.named(changed)
    return replace(
        nearest, teams=teams, waiting=waiting, imbalance=imbalance(teams, model.weights), fewest=changed.proven
    )


class _Model:
    """The programme's columns: for each kind of unit how many are on the first team, on the second, and each attribute's difference in steps."""

    def __init__(self, units: Sequence[Unit], weights: Sequence[int]) -> None:
        self.weights = weights
        self.kinds = [tuple(alike) for _, alike in groupby(sorted(units, key=_kind), key=_kind)]
        self.number = np.array([len(kind) for kind in self.kinds])
        self.size = np.array([kind[0].size for kind in self.kinds])
        self.played = np.array([kind[0].played for kind in self.kinds])
        self.values = np.array([kind[0].values for kind in self.kinds])
        self.offset = 0
        """Points that no division saves."""

    def _row(self, first: Any, second: Any, steps: Any = 0) -> Any:
        row = np.zeros(2 * len(self.kinds) + len(self.weights))
        row[: len(self.kinds)], row[len(self.kinds) : 2 * len(self.kinds)], row[2 * len(self.kinds) :] = (
            first,
            second,
            steps,
        )
        return row

    def room(self, places: int) -> LinearConstraint:
        """Everybody fits, and each team has somebody."""
        each = np.array([self._row(self.size, self.size), self._row(self.size, 0), self._row(0, self.size)])
        return LinearConstraint(each, [2, 1, 1], [places, inf, inf])

    def seating(self) -> tuple[Any, list[LinearConstraint]]:
        """Most players first; among as many, the fewest games played."""
        self.offset = 0
        one_more = int(self.number @ self.played) + 1
        return self._row(self.played - one_more * self.size, self.played - one_more * self.size), []

    def at_table(self, seated: Found) -> LinearConstraint:
        """As many players, and no more games played, than were found."""
        first = self._row(self.size, self.size), self._row(self.played, self.played)
        players, games = (int(row[: len(self.kinds)] @ seated.counts.sum(axis=0)) for row in first)
        return LinearConstraint(np.array(first), [players, -inf], [players, games])

    def balance(self, seated: Found) -> tuple[Any, list[LinearConstraint]]:
        """Points of imbalance less the offset. Sums lie apart by multiples of their common divisor, and of twice it where the total is known."""
        everybody = bool((seated.counts.sum(axis=0) == self.number).all())
        self.offset, steps, rows = 0, [], []
        for k, weight in enumerate(self.weights):
            column = self.values[:, k]
            common = gcd(*(int(value) for value in column)) or 1
            step = 2 * common if everybody else common
            least = abs(int(self.number @ column)) % step if everybody else 0
            self.offset += weight * least
            steps.append(weight * step)
            apart = np.where(np.arange(len(self.weights)) == k, step, 0)
            rows.append(LinearConstraint(self._row(column, -column, apart), -least, inf))
            rows.append(LinearConstraint(self._row(column, -column, -apart), -inf, least))
        return self._row(0, 0, steps), rows

    def moves(self) -> Any:
        first, second = np.array([kind[0].moves for kind in self.kinds]).T
        return self._row(first, second)

    def solve(
        self, objective: Any, rows: Sequence[LinearConstraint], seconds: float, also: Sequence[LinearConstraint]
    ) -> Found | None:
        """The least objective within the time; None where nothing was found in it, or there is nothing."""
        kinds, twice = len(self.kinds), np.concatenate([self.number, self.number])
        columns = len(objective)
        level = LinearConstraint(self._row(self.size, -self.size), -1, 1)
        once = LinearConstraint(
            np.hstack([np.eye(kinds), np.eye(kinds), np.zeros((kinds, columns - 2 * kinds))]), 0, self.number
        )
        found = milp(
            objective,
            integrality=np.ones(columns, dtype=np.int64),
            bounds=Bounds(np.zeros(columns), np.concatenate([twice, np.full(columns - 2 * kinds, inf)])),
            constraints=[level, once, *rows, *also],
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )
        if found.x is None:
            return None
        counts = np.rint(found.x[: 2 * kinds]).astype(np.int64).reshape(2, kinds)
        bound = -inf if found.mip_dual_bound is None else found.mip_dual_bound
        lowest = -(2**53) if bound == -inf else ceil(bound - 1e-6)
        return Found(counts, round(found.fun) + self.offset, lowest + self.offset)

    def named(self, found: Found) -> tuple[tuple[tuple[Unit, ...], tuple[Unit, ...]], tuple[Unit, ...]]:
        """Both teams and who waits, by name: alike units are taken in their own order."""
        first, second, waiting = [], [], []
        for kind, one, other in zip(self.kinds, *found.counts, strict=True):
            first += kind[:one]
            second += kind[one : one + other]
            waiting += kind[one + other :]
        return (tuple(sorted(first)), tuple(sorted(second))), tuple(sorted(waiting))


def _kind(unit: Unit) -> tuple[Any, ...]:
    return unit.size, unit.values, unit.played, unit.moves
