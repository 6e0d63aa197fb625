"""Charts: whether a chronograph's checks against its reference stay where they belong (NIST/SEMATECH e-Handbook, 6.3.2).

Values, targets and standard deviations are in one unit, ft/s as a rule, in the order of the checks.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

from msgspec import Struct

D2 = 2 / math.sqrt(math.pi)
"""The mean range of two standard normals; the handbook rounds it to 1.128."""


class Point(Struct, frozen=True):
    """One value of a chart between its limits; a signal where it is beyond one."""

    value: float
    lower: float
    upper: float
    signal: bool


class Individuals(Struct, frozen=True):
    """A chart whose centre and spread come from its own values: their mean, their mean moving range, and sigma = that over d₂."""

    mean: float
    moving_range: float
    sigma: float
    points: tuple[Point, ...]


class Sums(Struct, frozen=True):
    """The two sums of a CUSUM chart, both 0 or more; a signal where one is over the decision interval."""

    high: float
    low: float
    signal: bool


def shewhart(values: Sequence[float], *, target: float, sigma: float, width: float = 3.0) -> tuple[Point, ...]:
    """Each value by itself, within target ± width·sigma. ValueError unless sigma and width are above 0."""
    _positive(sigma, width)
    reach = width * sigma
    return tuple(_point(value, target, reach) for value in values)


def individuals(values: Sequence[float], *, width: float = 3.0) -> Individuals | None:
    """Each value by itself, within limits from the moving ranges (6.3.2.2). None for fewer than two values, or where all are the same."""
    if len(values) < 2 or min(values) == max(values):
        return None
    mean = math.fsum(values) / len(values)
    moving_range = math.fsum(abs(after - before) for before, after in pairwise(values)) / (len(values) - 1)
    sigma = moving_range / D2
    return Individuals(mean, moving_range, sigma, shewhart(values, target=mean, sigma=sigma, width=width))


def ewma(  # noqa: PLR0913 - a chart's four parameters
    values: Sequence[float], *, target: float, sigma: float, weight: float, width: float = 3.0, settled: bool = False
) -> tuple[Point, ...]:
    """Exponentially weighted means z = weight·x + (1-weight)·z, from the target on (6.3.2.4). ValueError unless 0 < weight ≤ 1, sigma and width above 0.

    Limits: target ± width·sigma·√(weight/(2-weight)·(1-(1-weight)²ᵗ)), which open with the t-th check; `settled` has their final width from the start, as
    the handbook prints them, and sees a fault of the first checks later.
    """
    _positive(sigma, width, weight)
    if weight > 1:
        raise ValueError("The weight of the newest check is at most 1: correct the park's rule.")
    final = width * sigma * math.sqrt(weight / (2 - weight))
    points, mean = [], target
    for count, value in enumerate(values, 1):
        mean += weight * (value - mean)
        reach = final if settled else final * math.sqrt(1 - (1 - weight) ** (2 * count))
        points.append(_point(mean, target, reach))
    return tuple(points)


def cusum(values: Sequence[float], *, target: float, slack: float, decision: float) -> tuple[Sums, ...]:
    """The tabular sums of what is beyond target ± slack (6.3.2.3); a sum over the decision interval signals. All in the values' unit."""
    high = low = 0.0
    sums = []
    for value in values:
        high = max(0.0, high + value - target - slack)
        low = max(0.0, low + target - slack - value)
        sums.append(Sums(high, low, max(high, low) > decision))
    return tuple(sums)


def _point(value: float, target: float, reach: float) -> Point:
    return Point(value, target - reach, target + reach, abs(value - target) > reach)


def _positive(*parameters: float) -> None:
    if not all(one > 0 for one in parameters):
        raise ValueError("A chart's standard deviation, width and weight are above 0: correct the park's rule.")
