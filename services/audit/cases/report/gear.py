"""What he wore and shot: mask, marker, bottle, what was measured, and whether it is kept uncleaned."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from contracts.envelope import Data, Recorded
from contracts.equipment import (
    BottleRegistered,
    GearIssued,
    GearQuarantined,
    GearReleased,
    MarkerRegistered,
    MaskRegistered,
)
from contracts.velocity import ChronoAdjusted, ChronoChecked, MarkerTested
from services.audit.cases.report import particulars
from services.audit.cases.report.asking import Asking
from services.audit.cases.report.content import Item
from services.audit.cases.report.moments import NOT_RECORDED, listed
from services.audit.cases.sides import sides


def gear(asking: Asking, player: str) -> Iterator[Item]:
    issued = asking.before(GearIssued, player=player)
    markers = _named(asking, "marker", player, issued)
    masks = _named(asking, "mask", player, issued)
    bottles = _named(asking, "bottle", player, issued)
    yield _pieces(asking, "Mask", "mask", masks, MaskRegistered)
    yield _pieces(asking, "Marker", "marker", markers, MarkerRegistered)
    yield _pieces(asking, "Bottle", "bottle", bottles, BottleRegistered)
    yield asking.first_aid.paint()
    tests = [one for one in asking.before(MarkerTested) if one.data.marker in markers]
    yield asking.item("Readings, strings up to the incident", tests, particulars.string)
    yield from _checks(asking, tests)
    yield _impounded(asking, {*markers, *masks})


def _named(asking: Asking, kind: str, player: str, issued: Sequence[Recorded[Any]]) -> tuple[str, ...]:
    """The pieces of a kind that the incident names, of those that were his; else what he was last given or brought."""
    brought = [
        one for one in asking.case.of(MarkerRegistered, MaskRegistered, BottleRegistered) if one.data.owner == player
    ]
    his = [name for one in (*brought, *issued) if isinstance(name := getattr(one.data, kind, None), str)]
    told = getattr(asking.incident.data, f"{kind}s", ())
    alone = asking.incident.data.players == (player,)
    return tuple(name for name in told if alone or name in his) or tuple(his[-1:])


def _pieces(asking: Asking, what: str, kind: str, names: Sequence[str], register: type[Data]) -> Item:
    if not names:
        return Item(what)
    entered = [one for one in asking.case.of(register) if getattr(one.data, kind) in names]
    given = [one for one in asking.before(GearIssued) if getattr(one.data, kind) in names][-1:]
    said = [f"{getattr(one.data, kind)}, {particulars.model(one.data)}" for one in entered] or list(names)
    said += [f"issued {asking.at(one)}" for one in given]
    positions = tuple(one.position for one in (*entered, *given)) or (asking.incident.position,)
    return Item(what, "; ".join(said), positions)


def _checks(asking: Asking, tests: Sequence[Recorded[Any]]) -> Iterator[Item]:
    """The checks either side of these tests, and work between them where there was any: it hides what was read before it."""
    found = [sides(test, asking.standing(ChronoChecked, ChronoAdjusted)) for test in tests]
    works = _once(work for one in found for work in one.works)
    yield asking.item("Chronograph checked before", _once(one.before for one in found), particulars.check)
    if works:
        yield asking.item("Chronograph worked on between", works, particulars.work)
    yield asking.item("Chronograph checked after", _once(one.after for one in found), particulars.check)


def _impounded(asking: Asking, pieces: set[str]) -> Item:
    """What the incident names is out of use from then on; what else was put aside later, and what was released."""
    named = [name for name in (*asking.incident.data.markers, *asking.incident.data.masks) if name in pieces]
    by_itself = [f"{listed(named)} by the incident's own record, until a manager releases"] if named else []
    later = [
        one
        for one in asking.standing(GearQuarantined, GearReleased)
        if {one.data.marker, one.data.mask} & pieces and one.occurred_at >= asking.incident.occurred_at
    ]
    said = [*by_itself, *(f"{particulars.set_aside(one)} ({asking.at(one)})" for one in later)]
    positions = (*([asking.incident.position] if named else []), *(one.position for one in later))
    return Item("Impounded, uncleaned, with its custody", "; ".join(said) or NOT_RECORDED, positions)


def _once(events: Iterable[Recorded[Any] | None]) -> list[Recorded[Any]]:
    """Each once, in the order of positions."""
    found = {one.position: one for one in events if one is not None}
    return [found[position] for position in sorted(found)]
