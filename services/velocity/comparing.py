"""Comparing one with the rest: whether a marker's shots spread wider than its like's, whether it stops oftener, and what many looks do to chance."""

import math
from collections.abc import Iterable, Sequence

from msgspec import Struct
from scipy.special import betainc, stdtr


class Spread(Struct, frozen=True):
    """Sums over strings, or over markers as one: of their squares in (ft/s)², and of each one's variance as a cube root, weighted by its degrees of freedom.

    The cube root of a variance is close to normal (E. B. Wilson and M. M. Hilferty, 1931).
    """

    of: int = 0
    """How many strings, or markers."""
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
        of=len(known),
        degrees=sum(free for free, _ in known),
        squares=math.fsum(free * sd * sd for free, sd in known),
        roots=math.fsum(free * root for free, root in roots),
        roots_squared=math.fsum(free * root * root for free, root in roots),
    )


def by_marker(markers: Iterable[Spread]) -> Spread:
    """The sums over markers, each as one: so that one that spreads does not speak for all of its model."""
    known = [one for one in markers if one.degrees]
    return Spread(
        of=len(known),
        degrees=sum(one.degrees for one in known),
        squares=math.fsum(one.squares for one in known),
        roots=math.fsum(one.roots for one in known),
        roots_squared=math.fsum(one.roots * one.root for one in known),
    )


def wider(one: Spread, rest: Spread) -> float | None:
    """How likely one's strings are to spread so much wider than the rest's by chance: Student's t over the roots.

    The F test of two variances would find a little more, and holds its level only for shots that scatter normally; this one takes the variance of
    variances from the strings themselves. None for fewer than two strings, or markers, on either side.
    """
    degrees = one.of + rest.of - 2
    if min(one.of, rest.of) < 2:
        return None
    difference = one.root - rest.root
    error = math.sqrt((one.left + rest.left) / degrees * (1 / one.degrees + 1 / rest.degrees))
    if not error:
        return 0.0 if difference > 0 else 1.0
    return float(stdtr(degrees, -difference / error))


class Stops(Struct, frozen=True):
    """How often one was stopped, in how many uses."""

    times: int
    uses: int

    def __add__(self, other: "Stops") -> "Stops":
        return Stops(self.times + other.times, self.uses + other.uses)

    def __sub__(self, other: "Stops") -> "Stops":
        return Stops(self.times - other.times, self.uses - other.uses)

    @property
    def rate(self) -> float:
        return self.times / self.uses


def dispersion(models: Iterable[Sequence[Stops]]) -> float:
    """By how much the stoppages of markers differ within their models, where 1 is what chance does to equal ones: Pearson's χ² over its degrees; at least 1."""
    off, degrees = 0.0, 0
    for markers in models:
        used = [one for one in markers if one.uses]
        rate = sum((one.times for one in used), 0) / max(1, sum(one.uses for one in used))
        if rate:
            off += math.fsum((one.times - one.uses * rate) ** 2 / (one.uses * rate) for one in used)
            degrees += len(used) - 1
    return max(1.0, off / degrees) if degrees else 1.0


def oftener(one: Stops, rest: Stops, dispersion: float = 1.0) -> float | None:
    """How likely one stops so often by chance, if it does so as often a use as the rest: the exact conditional test of two Poisson rates.

    Given all stoppages, one's are binomial with its share of the uses (J. Przyborowski and H. Wilenski, Biometrika 31, 1940).
    Where markers differ more than by chance, as many stoppages say less: they count divided by the dispersion. None without uses on either side, and where nobody was stopped.
    """
    if not one.uses or not rest.uses or not one.times + rest.times:
        return None
    if not one.times:
        return 1.0
    share = one.uses / (one.uses + rest.uses)
    return float(betainc(one.times / dispersion, rest.times / dispersion + 1, share))


def adjusted(ps: Sequence[float]) -> list[float]:
    """Each p for how often was looked: found at a level, at most that share of what is found is expected to be chance (Y. Benjamini and Y. Hochberg, 1995)."""
    steps, least = [1.0] * len(ps), 1.0
    for rank, index in sorted(enumerate(sorted(range(len(ps)), key=ps.__getitem__), 1), reverse=True):
        least = min(least, ps[index] * len(ps) / rank)
        steps[index] = least
    return steps
