"""Turns: what is compared is measured in turn, several times over, so that a change of the machine's mood strikes all alike."""

import time
from collections.abc import Awaitable, Callable, Sequence
from statistics import median, quantiles

Measure = Callable[[], Awaitable[float]]


async def in_turn(turns: int, *measures: Measure) -> list[float]:
    """The median of each measure, taken A B C A B C …."""
    found = [[await measure() for measure in measures] for _ in range(turns)]
    return [median(one) for one in zip(*found, strict=True)]


async def seconds(work: Callable[[], Awaitable[object]]) -> float:
    """How long a piece of work takes."""
    begun = time.perf_counter()
    await work()
    return time.perf_counter() - begun


def p99(times: Sequence[float]) -> float:
    return quantiles(times, n=100, method="inclusive")[98]
