"""What is looked at of each marker over some days, and of all the markers of a model together."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from services.velocity import creep
from services.velocity.comparing import Spread, Stops, by_marker, spread
from services.velocity.creep import Gain, Lines
from services.velocity.history import History, Read


class Kept(Struct, frozen=True):
    """What is looked at of one marker, or of all of a model together."""

    name: str
    model: str
    markers: int
    strings: int
    uses: int
    mean_fps: float | None
    spread: Spread
    """Over its strings."""
    stoppages: tuple[str, ...]
    between: Spread = Spread()
    """Over its markers, each as one."""
    lines: Lines | None = None
    gain: Gain | None = None

    @property
    def stops(self) -> Stops:
        return Stops(len(self.stoppages), self.uses)


def within(history: History, since: date | None, until: date | None) -> History:
    """The history of some operating days, both included."""

    def inside(day: date) -> bool:
        return (since is None or since <= day) and (until is None or day <= until)

    return replace(
        history,
        entries=tuple(one for one in history.entries if inside(one.day)),
        days=tuple(one for one in history.days if inside(one.day)),
    )


def kept(history: History) -> Kept:
    """What one marker's history comes to."""
    strings = [one for one in history.entries if isinstance(one, Read)]
    return Kept(
        name=history.marker,
        model=history.model,
        markers=1,
        strings=len(strings),
        uses=sum(one.uses for one in history.days),
        mean_fps=sum(one.mean_fps for one in strings) / len(strings) if strings else None,
        spread=spread((one.n, one.sd_fps) for one in strings),
        stoppages=tuple(fault for one in history.days for fault in one.stoppages),
        lines=creep.lines(creep.points(history)),
    )


def together(name: str, some: Sequence[Kept]) -> Kept:
    """Several markers as one: those of a model, or a whole fleet."""
    means = [one.mean_fps for one in some if one.mean_fps is not None]
    return Kept(
        name=name,
        model=name,
        markers=len(some),
        strings=sum(one.strings for one in some),
        uses=sum(one.uses for one in some),
        mean_fps=sum(means) / len(means) if means else None,
        spread=sum((one.spread for one in some), Spread()),
        stoppages=tuple(fault for one in some for fault in one.stoppages),
        between=by_marker(one.spread for one in some),
        gain=creep.model_gain([one.lines.slope for one in some if one.lines is not None]),
    )


def models(histories: Iterable[History]) -> dict[str, tuple[Kept, list[Kept]]]:
    """By model: all its markers as one, and each with what it gains."""
    by_model: defaultdict[str, list[Kept]] = defaultdict(list)
    for history in sorted(histories, key=lambda one: one.marker):
        by_model[history.model].append(kept(history))
    found = {}
    for name, some in sorted(by_model.items()):
        model = together(name, some)
        about = creep.scatter(one.lines for one in some if one.lines is not None)
        gains = [None if one.lines is None else creep.gain(one.lines, about) for one in some]
        found[name] = model, [replace(one, gain=own) for one, own in zip(some, gains, strict=True)]
    return found
