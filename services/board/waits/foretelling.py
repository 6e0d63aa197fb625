"""How long a line takes: played out many times with turns drawn from today's own.

Each time the turns are weighed anew at random (the Bayesian bootstrap: Rubin, Annals of Statistics 9, 1981), the prior's counting as so
many turns as the rule says: so a range is wide while few turns were seen, and narrows as the day teaches. What is drawn follows from the
log's position alone: the same record gives the same ranges.
"""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.stats import gamma

from contracts.rules import StationPrior
from services.board.waits.timing import Timed

PLAYED: Final = 400
"""How often the line is played out."""
ATOMS: Final = 9
"""The prior as so many turns of equal weight."""

Floats = NDArray[np.float64]


class Turning:
    """The turns that are drawn from: today's, and the prior's as `prior.turns` more of them."""

    def __init__(self, today: Sequence[Timed], prior: StationPrior, seed: int) -> None:
        shape = 1 / prior.variation**2
        usual = gamma.ppf((np.arange(ATOMS) + 0.5) / ATOMS, shape, scale=prior.minutes / shape)
        self.minutes: Floats = np.array([*(one.minutes for one in today), *usual], dtype=np.float64)
        self.heads = np.array([*(one.heads for one in today), *[prior.heads] * ATOMS], dtype=np.int64)
        self.weights: Floats = np.array([1.0] * len(today) + [prior.turns / ATOMS] * ATOMS, dtype=np.float64)
        self.random = np.random.default_rng(seed)
        shares = self.random.dirichlet(self.weights, PLAYED)
        self._sums: Floats = np.cumsum(shares, axis=1)

    def drawn(self, turns: int) -> NDArray[np.int64]:
        """Which turn comes when: a row for each time that the line is played out."""
        points = self.random.random((PLAYED, turns)) * self._sums[:, -1:]
        found: Any = [np.searchsorted(sums, row, side="right") for sums, row in zip(self._sums, points, strict=True)]
        return np.minimum(np.array(found, dtype=np.int64), len(self.minutes) - 1)

    def left(self, elapsed: float) -> Floats:
        """How much is left of a turn that began so long ago: of turns longer than that; where none was, as much as of any."""
        longer = self.minutes > elapsed
        if not longer.any():
            return self.minutes[self.drawn(1)[:, 0]] * self.random.random(PLAYED)
        shares = self.weights[longer] / self.weights[longer].sum()
        return self.random.choice(self.minutes[longer], PLAYED, p=shares) - elapsed

    @property
    def minutes_a_head(self) -> float:
        """The mean of today's turns and the prior's."""
        return float((self.weights @ self.minutes) / (self.weights @ self.heads))


def begins(turning: Turning, line: int, elapsed: Sequence[float], more: int = 0) -> Floats:
    """Minutes until each in the line is served, and who joins it now: a column each, a row for each time that it is played out.

    `elapsed`: for each server, how long ago its present turn began. Each has one of the line before it; with nobody in line all are
    free. `more` servers would begin at once.
    """
    if not elapsed and not more:
        raise ValueError("Nobody serves: name at least one server.")
    if not line:
        return np.zeros((PLAYED, 1))
    serving = len(elapsed)
    which = turning.drawn(line + serving + 1)
    minutes, heads = turning.minutes[which], np.maximum(turning.heads[which], 1)
    free = np.column_stack([*(turning.left(one) for one in elapsed), *([np.zeros(PLAYED)] * more)])
    begun = np.zeros_like(minutes)
    rows = np.arange(PLAYED)
    for turn in range(serving, which.shape[1]):
        server = free.argmin(axis=1)
        begun[:, turn] = free[rows, server]
        free[rows, server] += minutes[:, turn]
    reached = np.cumsum(heads, axis=1)
    places = np.arange(line + 1)
    return np.array(
        [row[np.searchsorted(upto, places, side="right")] for row, upto in zip(begun, reached, strict=True)]
    )
