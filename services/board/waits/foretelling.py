"""How long a line takes: played out many times with turns drawn from today's own.

Each time the turns are weighed anew at random (the Bayesian bootstrap: Rubin, Annals of Statistics 9, 1981), the prior's counting as so
many turns as the rule says, and the pace of the next ones strays from today's by as much as the prior says: so a range is wide while few turns were
seen, and narrows as the day teaches. What is drawn follows from the
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
        self.room = np.full_like(self.heads, self.heads.max()) if prior.together else self.heads
        self.weights: Floats = np.array([1.0] * len(today) + [prior.turns / ATOMS] * ATOMS, dtype=np.float64)
        self.random = np.random.default_rng(seed)
        self.pace: Floats = np.exp(np.random.default_rng([seed, PLAYED]).normal(0, prior.pace, PLAYED))
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
    def heads_a_turn(self) -> float:
        return float((self.weights @ self.heads) / self.weights.sum())

    @property
    def minutes_a_head(self) -> float:
        """The mean of today's turns and the prior's."""
        return float((self.weights @ self.minutes) / (self.weights @ self.heads))


def at_work(turning: Turning, idle: Sequence[float], stood: Sequence[float]) -> list[float]:
    """For each server, how long ago its present turn began: when the one before ended, or later, when whom it serves had come to stand there.

    `idle`: how long ago each ended a turn; `stood`: for how long each in line has stood there, both in minutes. Who ended first took the first.
    """
    each = max(1.0, turning.heads_a_turn)
    firsts = (stood[min(int(number * each), len(stood) - 1)] if stood else 0.0 for number in range(len(idle)))
    return [min(ended, first) for ended, first in zip(sorted(idle, reverse=True), firsts, strict=True)]


def begins(turning: Turning, line: int, elapsed: Sequence[float], more: int = 0) -> Floats:
    """Minutes until each in the line is served, and who joins it now: a column each, a row for each time that it is played out.

    `elapsed`: for each server, how long ago its present turn began. So many of them as it takes have the first of the line before them, the others are
    free; nobody joins a turn that has begun. `more` servers would begin at once.
    """
    if not elapsed and not more:
        raise ValueError("Nobody serves: name at least one server.")
    if not line:
        return np.zeros((PLAYED, 1))
    serving = len(elapsed)
    which = turning.drawn(line + serving + 1)
    minutes, heads = turning.minutes[which], np.maximum(turning.room[which], 1)
    heads[:, :serving] = np.maximum(turning.heads[which[:, :serving]], 1)
    reached = np.cumsum(heads, axis=1)
    busy = np.minimum((reached[:, :serving] < line).sum(axis=1) + 1, serving)
    free = np.column_stack([*(turning.left(one) for one in elapsed), *([np.zeros(PLAYED)] * more)])
    begun = np.zeros_like(minutes)
    rows = np.arange(PLAYED)
    for turn in range(serving, which.shape[1]):
        server = free.argmin(axis=1)
        begun[:, turn] = free[rows, server]
        free[rows, server] += minutes[:, turn]
    places = np.arange(line + 1)
    turns = np.array([np.searchsorted(upto, places, side="right") for upto in reached])
    turns[:, line] = np.maximum(turns[:, line], busy)
    found: Floats = begun[rows[:, None], turns] * turning.pace[:, None]
    return found
