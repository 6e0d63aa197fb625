"""Strings: what the readings of one marker in one set-up come to."""

import math
from collections.abc import Iterable, Sequence

from msgspec import Struct


class Summary(Struct, frozen=True):
    """Speeds in ft/s. The standard deviation is the sample's, over n - 1; one reading has none."""

    n: int
    mean_fps: float
    sd_fps: float | None
    extreme_spread_fps: float
    highest_fps: float


class Pooled(Struct, frozen=True):
    """The standard deviation in ft/s within strings, and the degrees of freedom behind it."""

    sd_fps: float
    degrees: int


def summarize(readings_fps: Sequence[float]) -> Summary:
    """The summary of a string of readings in ft/s, in any order. ValueError if there is none."""
    n = len(readings_fps)
    if not n:
        raise ValueError("A string has at least one reading: shoot over the chronograph again.")
    mean = math.fsum(readings_fps) / n
    sd = math.sqrt(math.fsum((one - mean) ** 2 for one in readings_fps) / (n - 1)) if n > 1 else None
    highest = max(readings_fps)
    return Summary(n, mean, sd, highest - min(readings_fps), highest)


def pooled(strings: Iterable[Summary]) -> Pooled | None:
    """The spread within strings, whatever their means: √(Σ(n-1)s² / Σ(n-1)). None where no string has two readings."""
    known = [(one.n - 1, one.sd_fps) for one in strings if one.sd_fps is not None]
    degrees = sum(free for free, _ in known)
    if not degrees:
        return None
    return Pooled(math.sqrt(math.fsum(free * sd * sd for free, sd in known) / degrees), degrees)
