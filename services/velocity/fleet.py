"""The fleet: which hired markers, and which models, creep, spread or stop, from their history across days.

A marker is compared with the others of its model, a model with the other models. Each is looked at for three things, and what is found is found among
all these looks together: the more are made, the less a small p says. What all markers show alike is seen in their model; it may be the weather's, the
paint's or the chronograph's doing. It is advice to whoever keeps the gear, and clears no marker.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Final, Literal, NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from contracts.fleet import FleetReport, Kind, Looked, Result
from services.velocity import creep
from services.velocity.comparing import Spread, adjusted, oftener, spread, wider
from services.velocity.creep import Gain, Lines
from services.velocity.history import History, Read

LEVEL: Final = 0.05
NOTE: Final = (
    "A finding is a reason to look at a marker, no verdict: the bench clears it or not, and the maker's instructions come first. "
    "What a whole model shows may be the weather's, the paint's or a chronograph's doing."
)


class Kept(Struct, frozen=True):
    """What is looked at of one marker, or of all of a model together."""

    name: str
    model: str
    markers: int
    strings: int
    uses: int
    mean_fps: float | None
    spread: Spread
    stoppages: tuple[str, ...]
    lines: Lines | None = None
    gain: Gain | None = None
    model_gain: Gain | None = None


class _Look(NamedTuple):
    kind: Kind
    estimate: float
    against: float | None
    n: int
    p: float
    words: str


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
        each = [replace(one, gain=own, model_gain=model.gain) for one, own in zip(some, gains, strict=True)]
        found[name] = model, each
    return found


def report(
    histories: Iterable[History], since: date | None, until: date | None, *, epoch: int = 1, position: int = 0
) -> FleetReport:
    """The report on the hired markers among these, over some operating days."""
    hired = [within(one, since, until) for one in histories if one.hired]
    by_model = models(hired)
    fleet = together("", [model for model, _ in by_model.values()])
    looks: list[tuple[Literal["marker", "model"], Kept, list[_Look]]] = []
    for model, each in by_model.values():
        looks.append(("model", model, list(_looks(model, fleet, "the other models"))))
        looks += [("marker", one, list(_looks(one, model, "the rest of its model"))) for one in each]
    steps = iter(adjusted([look.p for _, _, made in looks for look in made]))
    told = [_told(of, one, [(look, next(steps)) for look in made]) for of, one, made in looks]
    told.sort(key=lambda one: (not any(result.found for result in one.results), one.name))
    return FleetReport(
        epoch=epoch,
        position=position,
        since=since,
        until=until,
        level=LEVEL,
        looks=sum(len(made) for _, _, made in looks),
        models=tuple(one for one in told if one.of == "model"),
        markers=tuple(one for one in told if one.of == "marker"),
        note=NOTE,
    )


def _looks(one: Kept, whole: Kept, rest_name: str) -> Iterable[_Look]:
    if one.gain is not None:
        model = one.model_gain.slope if one.model_gain is not None else None
        beside = "" if model is None else f", its model {model:+.1f}"
        counted = f"{one.gain.of} markers" if one.markers > 1 else f"{one.gain.of} readings and strings"
        words = f"gains {one.gain.slope:+.1f} ft/s an hour (standard error {one.gain.error:.1f}, {counted}){beside}"
        yield _Look("creep", one.gain.slope, model, one.gain.of, one.gain.p, words)
    rest = whole.spread - one.spread
    p = wider(one.spread, rest)
    if p is not None:
        words = f"spreads by {one.spread.sd_fps:.1f} ft/s (standard deviation, {one.spread.strings} strings), {rest_name} by {rest.sd_fps:.1f}"
        yield _Look("spread", one.spread.sd_fps, rest.sd_fps, one.spread.strings, p, words)
    times, rest_uses = len(one.stoppages), whole.uses - one.uses
    rest_times = len(whole.stoppages) - times
    p = oftener(times, one.uses, rest_times, rest_uses)
    if p is not None:
        faults = ", ".join(f"{fault} {count}" for fault, count in sorted(Counter(one.stoppages).items()))
        named = f" ({faults})" if faults else ""
        words = f"was stopped {times} times in {one.uses} uses{named}, {rest_name} {rest_times} times in {rest_uses}"
        yield _Look("stoppage", times / one.uses, rest_times / rest_uses, one.uses, p, words)


def _told(of: Literal["marker", "model"], one: Kept, looks: Iterable[tuple[_Look, float]]) -> Looked:
    results = [
        Result(
            kind=look.kind,
            estimate=look.estimate,
            against=look.against,
            n=look.n,
            p=look.p,
            adjusted_p=step,
            found=step <= LEVEL,
            sentence=f"{one.name} {look.words}. By chance alone: {_chance(step)}.",
        )
        for look, step in looks
    ]
    return Looked(
        of=of,
        name=one.name,
        model=one.model,
        markers=one.markers,
        strings=one.strings,
        uses=one.uses,
        mean_fps=one.mean_fps,
        results=tuple(results),
    )


def _chance(step: float) -> str:
    """An adjusted p in words."""
    return "hardly, under 1 in 1000" if step < 0.001 else f"{step:.2g}, for as many looks"
