"""The park's own gear at a glance: the spares of each model, and what is still out. From a read table of every piece that is for hire."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any, Final, Literal

from msgspec import Struct

from contracts.envelope import Data, Recorded
from contracts.equipment import BottleRegistered, MarkerRegistered, MaskRegistered
from contracts.gear import Spares, StillOut
from contracts.gear import Stock as StockShown
from services.core.fold import Evolve, Fold, Given
from services.core.folds import Folds
from services.equipment.custody import Move
from services.equipment.showing import WORN
from services.equipment.states import BOTTLE, MARKER, MASK, Bottle, Gear

FOLDS: Final[Mapping[str, Fold[Any]]] = {"marker": MARKER, "mask": MASK, "bottle": BOTTLE}
State = Literal["ready", "out", "quarantined", "out_of_test"]


class Hired(Struct, frozen=True):
    """A piece that is for hire: its tag, and what the fleet calls its model, or of a bottle its gas."""

    tag: str
    model: str = ""


def _entered(hired: Hired, event: Recorded[Any]) -> Hired:
    data = event.data
    return Hired(hired.tag, data.gas if isinstance(data, BottleRegistered) else data.model)


_HIRED: dict[type[Data], Evolve[Hired]] = dict.fromkeys((MarkerRegistered, MaskRegistered, BottleRegistered), _entered)
HIRED: Fold[Hired] = Fold("equipment.hired", "hired", Hired, _HIRED)


class _Stock(Folds):
    """Folds by the tags of events, and by one more that finds what is for hire among all gear that was ever entered."""

    def tags(self, event: Recorded[Any]) -> list[str]:
        tags = super().tags(event)
        if isinstance(event.data, MarkerRegistered | MaskRegistered | BottleRegistered) and event.data.owner is None:
            tags.append(f"hired:{next(tag for tag in event.tags if tag.partition(':')[0] in FOLDS)}")
        return tags


STOCK: Final = _Stock("stock", (MARKER, MASK, BOTTLE, HIRED, WORN))


def stock(hired: Iterable[str], given: Given, now: datetime, today: date, at: tuple[int, int]) -> StockShown:
    """What is left and what is out of the pieces with these tags, as of an epoch and position."""
    counts: defaultdict[tuple[str, str], dict[State, int]] = defaultdict(
        lambda: {"ready": 0, "out": 0, "quarantined": 0, "out_of_test": 0}
    )
    out = []
    for tag in hired:
        kind, _, name = tag.partition(":")
        gear: Gear = given.of(FOLDS[kind], name)
        model = given.of(HIRED, tag).model
        counts[kind, model][state(gear, today)] += 1
        last = gear.last_move
        if last is not None and last.taker is not None:
            out.append(_out(gear, model, last, last.taker, given.of(WORN, last.taker), today))
    order = list(FOLDS)
    return StockShown(
        epoch=at[0],
        position=at[1],
        as_of=now,
        spares=tuple(
            Spares(kind=kind, model=model, **counted)  # type: ignore[arg-type]
            for (kind, model), counted in sorted(counts.items(), key=lambda one: (order.index(one[0][0]), one[0][1]))
        ),
        out=tuple(sorted(out, key=lambda one: (one.since, one.name))),
    )


def state(gear: Gear, today: date) -> State:
    """Where one piece of the park's own counts."""
    if gear.holder is not None:
        return "out"
    if gear.faults or (gear.inspection is not None and not gear.inspection.passed):
        return "quarantined"
    if isinstance(gear, Bottle) and gear.test_due is not None and gear.test_due < today:
        return "out_of_test"
    return "ready"


def _out(gear: Gear, model: str, last: Move, player: str, armband: int, today: date) -> StillOut:  # noqa: PLR0913, PLR0917
    return StillOut(
        kind=gear.KIND,  # type: ignore[arg-type]
        name=gear.name,
        model=model,
        player=player,
        armband=armband or None,
        since=last.place[0],
        other_day=last.day < today,
    )
