"""Paired: whether two chronographs disagree about the same markers, and by how much."""

import math
from collections.abc import Sequence

from msgspec import Struct
from scipy.special import stdtr

from services.velocity.metrology.bounds import student
from services.velocity.metrology.strings import summarize


class Disagreement(Struct, frozen=True):
    """The first chronograph's readings minus the second's, in ft/s.

    `p`: how likely a mean difference at least as large, either way, is between instruments that agree. `lower_fps` to `upper_fps`: the confidence interval of the bias.
    """

    n: int
    bias_fps: float
    sd_fps: float
    p: float
    lower_fps: float
    upper_fps: float


def compare(
    first_fps: Sequence[float], second_fps: Sequence[float], *, confidence: float = 0.95
) -> Disagreement | None:
    """Student's paired test of what two chronographs read of the same markers in the same order, one value a marker: a shot, or a string's mean.

    None for fewer than two markers. ValueError where the two are not of one length. `confidence`: above 0 and under 1.
    """
    string = summarize([one - other for one, other in zip(first_fps, second_fps, strict=True)]) if first_fps else None
    if string is None or string.sd_fps is None:
        return None
    error = string.sd_fps / math.sqrt(string.n)
    reach = student(string.n - 1, (1 - confidence) / 2) * error
    return Disagreement(
        n=string.n,
        bias_fps=string.mean_fps,
        sd_fps=string.sd_fps,
        p=two_sided(string.mean_fps, error, string.n - 1),
        lower_fps=string.mean_fps - reach,
        upper_fps=string.mean_fps + reach,
    )


def two_sided(estimate: float, error: float, degrees: int) -> float:
    """How likely an estimate at least as far from 0 is by chance alone, with its standard error on these degrees of freedom."""
    if not error:
        return 0.0 if estimate else 1.0
    return 2 * float(stdtr(degrees, -abs(estimate) / error))
