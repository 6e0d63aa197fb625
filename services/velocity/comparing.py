"""Comparing one with the rest: whether a marker's shots spread wider than its like's, whether it stops oftener, and what many looks do to chance."""

import math
from collections.abc import Iterable, Sequence

from msgspec import Struct
from scipy.special import bdtrc, stdtr


class Spread(Struct, frozen=True):
    """Sums over strings: of their squares in (ft/s)², and of each one's variance as a cube root, weighted by its degrees of freedom.

    The cube root of a variance is close to normal (E. B. Wilson and M. M. Hilferty, 1931).
    """

    strings: int = 0
    degrees: int = 0
    squares: float = 0.0
    roots: float = 0.0
    roots_squared: float = 0.0

    def __add__(self, other: "Spread") -> "Spread":
        return Spread(*(getattr(self, name) + getattr(other, name) for name in self.__struct_fields__))

    def __sub__(self, other: "Spread") -> "Spread":
        return Spread(*(getattr(self, name) - getattr(other, name) for name in self.__struct_fields__))

    @property
    def sd_fps(self) -> float:
        """The standard deviation within strings, in ft/s."""
        return math.sqrt(max(0.0, self.squares) / self.degrees)

    @property
    def root(self) -> float:
        return self.roots / self.degrees

    @property
    def left(self) -> float:
        return max(0.0, self.roots_squared - self.roots * self.root)


def spread(strings: Iterable[tuple[int, float | None]]) -> Spread:
    """The sums of strings, each the number of its readings and their standard deviation in ft/s; one reading has none, and says nothing."""
    known = [(n - 1, sd) for n, sd in strings if sd is not None and n > 1]
    roots = [(free, math.cbrt(sd * sd) / (1 - 2 / (9 * free))) for free, sd in known]
    return Spread(
        strings=len(known),
        degrees=sum(free for free, _ in known),
        squares=math.fsum(free * sd * sd for free, sd in known),
        roots=math.fsum(free * root for free, root in roots),
        roots_squared=math.fsum(free * root * root for free, root in roots),
    )


def wider(one: Spread, rest: Spread) -> float | None:
    """How likely one's strings are to spread so much wider than the rest's by chance: Student's t over the roots.

    The F test of two variances would find a little more, and holds its level only for shots that scatter normally; this one takes the variance of
    variances from the strings themselves. None for fewer than two strings on either side.
    """
    degrees = one.strings + rest.strings - 2
    if min(one.strings, rest.strings) < 2:
        return None
    difference = one.root - rest.root
    error = math.sqrt((one.left + rest.left) / degrees * (1 / one.degrees + 1 / rest.degrees))
    if not error:
        return 0.0 if difference > 0 else 1.0
    return float(stdtr(degrees, -difference / error))


def oftener(times: int, uses: int, rest_times: int, rest_uses: int) -> float | None:
    """How likely one stops so often by chance, if it does so as often a use as the rest: the exact conditional test of two Poisson rates.

    Given all stoppages, one's are binomial with its share of the uses (J. Przyborowski and H. Wilenski, Biometrika 31, 1940). None without uses on either side.
    """
    if not uses or not rest_uses:
        return None
    if not times:
        return 1.0
    return float(bdtrc(times - 1, times + rest_times, uses / (uses + rest_uses)))


def adjusted(ps: Sequence[float]) -> list[float]:
    """Each p for how often was looked: found at a level, at most that share of what is found is expected to be chance (Y. Benjamini and Y. Hochberg, 1995)."""
    steps, least = [1.0] * len(ps), 1.0
    for rank, index in sorted(enumerate(sorted(range(len(ps)), key=ps.__getitem__), 1), reverse=True):
        least = min(least, ps[index] * len(ps) / rank)
        steps[index] = least
    return steps
