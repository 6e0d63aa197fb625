"""Proposing teams: 60 players in 20 groups divided exactly, against one programme of that size with its integers let go, by the same solver."""

import time
from random import Random
from statistics import median

import numpy as np
from scipy.optimize import linprog

from contracts.rules import TeamRules
from services.games.teams.optimum import Division, divide
from services.games.teams.strengths import weights
from services.games.teams.units import Unit
from tests.bench.figures import Figure
from tests.bench.ground import Ground
from tests.bench.history import Day

GROUPS, PLAYERS = 20, 60
DAYS = 15
GENEROUS = 60.0
"""Seconds: what is measured is the proof, not the clock that would cut it short."""


def groups(seed: int) -> list[Unit]:
    """Sixty invented players in twenty groups: families and clubs, first-timers and regulars, some games behind them."""
    random = Random(seed)  # noqa: S311 - a sample, not a secret
    sizes = [1] * GROUPS
    for _ in range(PLAYERS - GROUPS):
        sizes[random.randrange(GROUPS)] += 1
    return [_group(random, f"group-{number:02}", size) for number, size in enumerate(sizes)]


def _group(random: Random, name: str, size: int) -> Unit:
    band, regulars = random.choice((10, 12, 14, 16, 18, 18, 18)), random.random() < 0.25
    first = 0 if regulars else size
    own = sum(random.random() < (0.6 if regulars else 0.05) for _ in range(size))
    results = sum(random.choice((-25, -17, 0, 0, 17, 25)) for _ in range(size))
    return Unit(tuple(f"{name}-{n}" for n in range(size)), name, (band * size, first, own, results), 2 * size)


def relaxed(units: list[Unit]) -> float:
    """Seconds of one linear programme over the same columns and rows: a share of each group on the first team, and each attribute's difference."""
    values = np.array([unit.values for unit in units], dtype=float)
    sizes = np.array([len(unit.players) for unit in units], dtype=float)
    apart = np.eye(values.shape[1])
    rows = np.vstack([np.hstack([2 * values.T, -apart]), np.hstack([-2 * values.T, -apart])])
    ends = np.concatenate([values.sum(axis=0), -values.sum(axis=0)])
    level = np.hstack([sizes, np.zeros(values.shape[1])])[None, :]
    points = np.concatenate([np.zeros(len(units)), np.array(weights(TeamRules()), dtype=float)])
    bounds = [(0, 1)] * len(units) + [(0, None)] * values.shape[1]
    begun = time.perf_counter()
    linprog(points, A_ub=rows, b_ub=ends, A_eq=level, b_eq=[sizes.sum() / 2], bounds=bounds, method="highs")
    return time.perf_counter() - begun


def divided(units: list[Unit]) -> tuple[float, Division]:
    begun = time.perf_counter()
    found = divide(units, PLAYERS, weights(TeamRules()), GENEROUS)
    seconds = time.perf_counter() - begun
    if found is None or found.gap:
        raise AssertionError("No optimum was proven in a minute.")
    return seconds, found


async def measure(_here: Ground, _day: Day) -> list[Figure]:
    days = [groups(seed) for seed in range(DAYS)]
    taken = [(divided(units)[0], relaxed(units)) for units in days]
    slowest, reference = max(one for one, _ in taken), median(other for _, other in taken)
    return [
        Figure(
            name="teams_proposed",
            what=f"the exact optimum of {PLAYERS} players in {GROUPS} groups, the slowest of {DAYS} invented stagings",
            against="a linear programme of that size by the same solver",
            unit="ms",
            value=1000 * slowest,
            reference=1000 * reference,
            goal=300,
            at_most=True,
        )
    ]
