"""Drift: whether a marker creeps, from its strings' means over time."""

import math
from collections.abc import Sequence

from msgspec import Struct

from services.velocity.metrology.paired import two_sided


class Trend(Struct, frozen=True):
    """A least-squares line: ft/s an hour (or a game, as the caller counts), its standard error, and how likely so steep a slope is by chance."""

    n: int
    slope: float
    standard_error: float
    p: float


def trend(times: Sequence[float], speeds_fps: Sequence[float]) -> Trend | None:
    """The line through speeds in ft/s over their times, by ordinary least squares; p from Student's t with n - 2 degrees of freedom.

    None for fewer than three points or one time only. ValueError where the two are not of one length.
    """
    points = list(zip(times, speeds_fps, strict=True))
    n = len(points)
    if n < 3:
        return None
    middle, mean = math.fsum(times) / n, math.fsum(speeds_fps) / n
    across = math.fsum((time - middle) ** 2 for time, _ in points)
    if not across:
        return None
    slope = math.fsum((time - middle) * (speed - mean) for time, speed in points) / across
    left = math.fsum((speed - mean - slope * (time - middle)) ** 2 for time, speed in points)
    error = math.sqrt(left / (n - 2) / across)
    return Trend(n, slope, error, two_sided(slope, error, n - 2))
