"""Ranges: of what was played out many times, and in words."""

import numpy as np

from contracts.board import Range
from services.board.waits.foretelling import Floats


def ranged(minutes: Floats, confidence: float) -> Range:
    """The middle of what was played out, to a tenth of a minute."""
    tail = (1 - confidence) / 2
    low, likely, high = (max(0.0, round(float(one), 1)) for one in np.quantile(minutes, (tail, 0.5, 1 - tail)))
    return Range(low=low, likely=likely, high=high)


def between(wait: Range) -> str:
    """A range in whole minutes."""
    low, high = round(wait.low), round(wait.high)
    if high < 1:
        return "less than a minute"
    return f"about {high} {minutes(high)}" if low == high else f"about {low} to {high} minutes"


def minutes(count: int) -> str:
    return "minute" if count == 1 else "minutes"
