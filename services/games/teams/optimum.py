"""The best two teams that units can make: as many players as fit, of these the ones who have played least, and then the smallest imbalance.

The imbalance is the sum over the attributes of points times the difference between the two teams' sums. The teams' numbers differ by one at most. Integers throughout, so an optimum is
exact; where the time runs out, what may be missing from it is told.
"""

from collections.abc import Callable, Sequence
from math import inf
from typing import Final

from msgspec import Struct
from msgspec.structs import replace
from scipy.optimize import LinearConstraint

from services.games.teams.programme import Found, Programme
from services.games.teams.units import Unit

SEATING: Final = 0.2
BALANCE: Final = 0.7
"""Of the time, for who plays, and for the balance; where changes are to be few, half of the latter each."""


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


def imbalance(teams: Sequence[Sequence[Unit]], weights: Sequence[int]) -> int:
    """Points between two teams."""
    sums = [[sum(unit.values[k] for unit in team) for k in range(len(weights))] for team in teams]
    return sum(weight * abs(one - other) for weight, one, other in zip(weights, *sums, strict=True))


def divide(
    units: Sequence[Unit],
    places: int,
    weights: Sequence[int],
    seconds: float,
    tolerance: Callable[[int], int] | None = None,
) -> Division | None:
    """The best teams; with a `tolerance`, in points for so many players, those within it that take the fewest changes of sides. None: no two teams were found.

    Takes the seconds at most, and what it takes to set up.
    """
    model = Programme(units, weights)
    seated = model.solve(*model.seating(), seconds * SEATING, [model.room(places)])
    if seated is None:
        return None
    playing = [model.at_table(seated)]
    few = tolerance is not None and any(any(unit.moves) for unit in units)
    left = seconds * BALANCE / (2 if few else 1)
    balanced = model.solve(*model.balance(seated), left, playing)
    if balanced is None:
        return None
    teams, waiting = model.named(balanced)
    best = imbalance(teams, weights)
    nearest = Division(teams, waiting, best, best, max(0, min(best, balanced.bound)), seated.proven)
    if tolerance is None or not few:
        return nearest
    cap = max(tolerance(sum(unit.size for team in teams for unit in team)), best)
    return _fewest_changes(model, seated, nearest, cap, left)


def _fewest_changes(model: Programme, seated: Found, nearest: Division, cap: int, seconds: float) -> Division:
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
