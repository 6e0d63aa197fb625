"""The fleet: which hired markers, and which models, creep, spread or stop, from their history across days.

A marker is compared with the others of its model, a model with the other models; a gain in speed with none, or a marker's with its model's where that
gains plainly. Each is looked at for three things, and what is found is found among all these looks together: the more are made, the less a small
p says. What all markers show alike is seen in their model; it may be the weather's, the paint's or the chronograph's doing. It is advice to
whoever keeps the gear, and clears no marker.
"""

from collections import Counter
from collections.abc import Iterable
from datetime import date
from typing import Final, Literal, NamedTuple

from contracts.fleet import FleetReport, Kind, Looked, Result
from services.velocity import creep
from services.velocity.comparing import Spread, Stops, adjusted, dispersion, oftener, wider
from services.velocity.creep import Gain
from services.velocity.history import History
from services.velocity.kept import Kept, models, together, within

LEVEL: Final = 0.05
NOTE: Final = (
    "A finding is a reason to look at a marker, no verdict: the bench clears it or not, and the maker's instructions come first. "
    "What a whole model shows may be the weather's, the paint's or a chronograph's doing."
)


class _Look(NamedTuple):
    kind: Kind
    estimate: float
    against: float | None
    n: int
    p: float
    words: str


def report(
    histories: Iterable[History], since: date | None, until: date | None, *, epoch: int = 1, position: int = 0
) -> FleetReport:
    """The report on the hired markers among these, over some operating days. Histories: as they were measured well."""
    hired = [within(one, since, until) for one in histories if one.hired]
    by_model = models(hired)
    fleet = together("", [one for _, each in by_model.values() for one in each])
    differ = dispersion([one.stops for one in each] for _, each in by_model.values())
    looks: list[tuple[Literal["marker", "model"], Kept, list[_Look]]] = []
    for model, each in by_model.values():
        looks.append(("model", model, list(_of_model(model, fleet, differ))))
        looks += [("marker", one, list(_of_marker(one, model))) for one in each]
    steps = iter(adjusted([look.p for _, _, made in looks for look in made]))
    told = [_told(of, one, [(look, next(steps)) for look in made]) for of, one, made in looks]
    told.sort(key=lambda one: (min((result.adjusted_p for result in one.results), default=1.0), one.name))
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


def _of_marker(one: Kept, model: Kept) -> Iterable[_Look]:
    """A marker beside the others of its model."""
    if one.gain is not None:
        beside = "" if model.gain is None else f", its model {model.gain.slope:+.1f}"
        p = creep.beyond(one.gain, model.gain).p
        yield _creep(one.gain, p, f"{one.gain.of} strings and readings", model.gain, beside)
    rest = "the rest of its model"
    yield from _spread(one.spread, model.spread - one.spread, "strings", rest)
    yield from _stoppage(one, model.stops - one.stops, 1.0, rest)


def _of_model(model: Kept, fleet: Kept, differ: float) -> Iterable[_Look]:
    """A model beside the other models; its markers count as one each, so that a single bad one does not speak for it."""
    if model.gain is not None:
        yield _creep(model.gain, model.gain.p, f"{model.gain.of} markers", None, "")
    rest = "the other models"
    yield from _spread(model.between, fleet.between - model.between, "markers", rest)
    yield from _stoppage(model, fleet.stops - model.stops, differ, rest)


def _creep(gain: Gain, p: float, counted: str, against: Gain | None, beside: str) -> _Look:
    words = f"gains {gain.slope:+.1f} ft/s an hour (standard error {gain.error:.1f}, {counted}){beside}"
    return _Look("creep", gain.slope, against.slope if against is not None else None, gain.of, p, words)


def _spread(one: Spread, rest: Spread, counted: str, rest_name: str) -> Iterable[_Look]:
    p = wider(one, rest)
    if p is not None:
        words = f"spreads by {one.sd_fps:.1f} ft/s (standard deviation, {one.of} {counted}), {rest_name} by {rest.sd_fps:.1f}"
        yield _Look("spread", one.sd_fps, rest.sd_fps, one.of, p, words)


def _stoppage(one: Kept, rest: Stops, differ: float, rest_name: str) -> Iterable[_Look]:
    p = oftener(one.stops, rest, differ)
    if p is not None:
        faults = ", ".join(f"{fault} {count}" for fault, count in sorted(Counter(one.stoppages).items()))
        named = f" ({faults})" if faults else ""
        words = f"was stopped {one.stops.times} times in {one.uses} uses{named}, {rest_name} {rest.times} times in {rest.uses}"
        yield _Look("stoppage", one.stops.rate, rest.rate, one.uses, p, words)


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
            sentence=f"{one.name} {look.words}. Probability by chance, with so many looks: {_chance(step)}.",
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
        stoppages=one.stops.times,
        mean_fps=one.mean_fps,
        results=tuple(results),
    )


def _chance(step: float) -> str:
    """An adjusted p in words."""
    return "under 0.001" if step < 0.001 else f"{step:.2g}"
