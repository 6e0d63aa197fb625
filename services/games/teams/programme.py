"""Teams as a mixed-integer linear programme, solved by HiGHS through SciPy's `milp`.

Alike units are counted, not told apart, or the search would go through all their permutations. Where everybody plays, a difference is odd or even with the total, which
bounds it from below.
"""

from collections.abc import Sequence
from itertools import groupby
from math import ceil, gcd, inf
from typing import Any

import numpy as np
from msgspec import Struct
from scipy.optimize import Bounds, LinearConstraint, milp

from services.games.teams.units import Unit


class Found(Struct, frozen=True):
    """Of every kind of unit, how many are on the first team and how many on the second; the objective and its proven bound."""

    counts: np.ndarray[Any, np.dtype[np.int64]]
    value: int
    bound: int

    @property
    def proven(self) -> bool:
        return self.value <= self.bound


class Programme:
    """The programme's columns: for each kind of unit how many are on the first team, on the second, and each attribute's difference in steps."""

    def __init__(self, units: Sequence[Unit], weights: Sequence[int]) -> None:
        self.weights = weights
        self.kinds = [tuple(alike) for _, alike in groupby(sorted(units, key=_in_order), key=_kind)]
        self.number = np.array([len(kind) for kind in self.kinds])
        self.size = np.array([kind[0].size for kind in self.kinds])
        self.played = np.array([kind[0].played for kind in self.kinds])
        self.values = np.array([kind[0].values for kind in self.kinds])
        self.moved = np.array([kind[0].moves for kind in self.kinds]).T
        self.offset = 0
        """Points that no division saves."""

    def _row(self, first: Any, second: Any, steps: Any = 0) -> Any:
        """A row over the columns; one number stands for all of its kind."""
        parts = (first, len(self.kinds)), (second, len(self.kinds)), (steps, len(self.weights))
        return np.concatenate([np.broadcast_to(part, length) for part, length in parts])

    def room(self, places: int) -> LinearConstraint:
        """Everybody fits, and each team has somebody."""
        each = np.array([self._row(self.size, self.size), self._row(self.size, 0), self._row(0, self.size)])
        return LinearConstraint(each, [2, 1, 1], [places, inf, inf])

    def seating(self) -> tuple[Any, list[LinearConstraint]]:
        """Most players first; among as many, the fewest games played."""
        self.offset = 0
        one_more = int(self.number @ self.played) + 1
        cost = self.played - one_more * self.size
        return self._row(cost, cost), []

    def at_table(self, seated: Found) -> LinearConstraint:
        """As many players, and no more games played, than were found."""
        taken = seated.counts.sum(axis=0)
        players, games = int(self.size @ taken), int(self.played @ taken)
        rows = np.array([self._row(self.size, self.size), self._row(self.played, self.played)])
        return LinearConstraint(rows, [players, -inf], [players, games])

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
        if not self.moved.any():
            rows.append(self._either_way())
        return self._row(0, 0, steps), rows

    def _either_way(self) -> LinearConstraint:
        """Teams that trade places are the same teams: of the largest units no fewer are on the first."""
        largest = np.where(np.arange(len(self.kinds)) == len(self.kinds) - 1, 1, 0)
        return LinearConstraint(self._row(largest, -largest), 0, inf)

    def moves(self) -> Any:
        return self._row(*self.moved)

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


def _in_order(unit: Unit) -> tuple[Any, ...]:
    return *_kind(unit), unit.players
