"""Creep: by how much a marker gains speed while nobody changes its set-up.

What one instrument read in one set-up lies on one line over the marker's hours; every such line of a marker has a level of its own (a chronograph has its
bias, a turned adjuster its new speed) and all have the marker's one slope: the analysis of covariance, weighted by the shots behind each point. How
far points scatter about their lines is what they show themselves, and at the least what all markers of the model show together, since three points
that happen to lie on a line prove nothing. A marker creeps where it gains: one that loses speed is no danger.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

from msgspec import Struct
from scipy.special import stdtr

from services.velocity.history import HOUR, Change, History, Read, Spot
from services.velocity.metrology.strings import summarize

PLAIN: Final = 0.05
"""A slope that chance would give no oftener than this is plain enough to reckon with."""


class Point(NamedTuple):
    """One string, or one reading on a field: its line, the marker's hours, ft/s, and the shots behind it."""

    line: tuple[int, str]
    hours: float
    speed_fps: float
    shots: int


class Lines(Struct, frozen=True):
    """Parallel lines through a marker's points: their slope in ft/s an hour, and what is left over. `across`: the weight behind the slope, in shots·h²."""

    points: int
    lines: int
    slope: float
    across: float
    left: float

    @property
    def degrees(self) -> int:
        """Degrees of freedom of what is left, 0 or more: a line with a slope has two points."""
        return self.points - self.lines - 1


class Scatter(Struct, frozen=True):
    """The variance in (ft/s)² of one shot's weight about the lines, of all markers of a model together."""

    variance: float
    degrees: int


class Gain(Struct, frozen=True):
    """What is gained in ft/s an hour, its standard error with its degrees of freedom, and how likely so much or more is by chance where nothing is gained.

    `of`: how many points, or markers, it rests on.
    """

    of: int
    slope: float
    error: float
    degrees: int
    p: float

    @property
    def plain(self) -> bool:
        return self.slope > 0 and self.p <= PLAIN


def points(history: History) -> list[Point]:
    """A marker's points, each on the line of its set-up and its instrument; what was read before its first day that is still known is left out."""
    found, set_up = [], 0
    begun = history.begun()
    for entry in history.entries:
        if entry.day in begun and not isinstance(entry, Change):
            first, before = begun[entry.day]
            hours = before + (entry.at - first) / HOUR
            if isinstance(entry, Read):
                found.append(Point((set_up, f"chrono:{entry.chrono}"), hours, entry.mean_fps, entry.n))
            else:
                found.append(Point((set_up, "field"), hours, entry.speed_fps, 1))
        if isinstance(entry, Change) or (isinstance(entry, Spot) and entry.over):
            set_up += 1
    return found


def lines(found: Iterable[Point]) -> Lines | None:
    """The common slope of a marker's lines, by weighted least squares. None where no line has two points at different hours."""
    by_line: defaultdict[tuple[int, str], list[Point]] = defaultdict(list)
    for point in found:
        by_line[point.line].append(point)
    if all(len({point.hours for point in one}) == 1 for one in by_line.values()):
        return None
    moves = [move for one in by_line.values() for move in _about_the_middle(one)]
    across = math.fsum(shots * hours * hours for shots, hours, _ in moves)
    slope = math.fsum(shots * hours * speed for shots, hours, speed in moves) / across
    left = math.fsum(shots * (speed - slope * hours) ** 2 for shots, hours, speed in moves)
    return Lines(len(moves), len(by_line), slope, across, left)


def _about_the_middle(line: Sequence[Point]) -> list[tuple[int, float, float]]:
    shots = sum(point.shots for point in line)
    hours = math.fsum(point.shots * point.hours for point in line) / shots
    speed = math.fsum(point.shots * point.speed_fps for point in line) / shots
    return [(point.shots, point.hours - hours, point.speed_fps - speed) for point in line]


def scatter(markers: Iterable[Lines]) -> Scatter | None:
    """How far the points of all markers of a model lie from their lines. None where nothing is left over."""
    every = list(markers)
    degrees = sum(one.degrees for one in every)
    return Scatter(math.fsum(one.left for one in every) / degrees, degrees) if degrees else None


def gain(marker: Lines, model: Scatter | None) -> Gain | None:
    """What a marker gains, with Student's t. None where nothing says how far its points scatter."""
    if model is None:
        return None
    own = marker.left / marker.degrees if marker.degrees else 0.0
    error = math.sqrt(max(own, model.variance) / marker.across)
    return _gain(marker.points, marker.slope, error, model.degrees)


def model_gain(slopes: Sequence[float]) -> Gain | None:
    """What the markers of a model gain together: Student's t over their slopes, so that one that creeps does not speak for all. None for fewer than three."""
    if len(slopes) < 3:
        return None
    found = summarize(slopes)
    return _gain(found.n, found.mean_fps, (found.sd_fps or 0.0) / math.sqrt(found.n), found.n - 1)


def beyond(marker: Gain, model: Gain | None) -> Gain:
    """What a marker gains beyond its model, where that gains plainly: what the weather does to all makes none of them creep."""
    if model is None or not model.plain:
        return marker
    error, degrees = math.hypot(marker.error, model.error), min(marker.degrees, model.degrees)
    return _gain(marker.of, marker.slope - model.slope, error, degrees)


def _gain(of: int, slope: float, error: float, degrees: int) -> Gain:
    if not error:
        return Gain(of, slope, error, degrees, 0.0 if slope > 0 else 1.0)
    return Gain(of, slope, error, degrees, float(stdtr(degrees, -slope / error)))
