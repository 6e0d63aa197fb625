"""What the plan before promised: its games field by field, in order, with whom they were for. A promise is kept while it can be."""

from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

from services.games.rotation.model import Ground, Slot
from services.games.rotation.units import Name, Unit


class Promise(Struct, eq=False):
    """A game of the plan before. `expected`: when it can start at the earliest, its field being late or not; `until`: how long it waits for its own."""

    slot: Slot
    expected: float
    names: frozenset[Name]
    until: float | None = None
    kept: frozenset[Name] = frozenset()

    def wait_for(self, units: Iterable[Unit], now: float, patience: float) -> float:
        """When the last of its own is ready who is so in time."""
        if self.until is None:
            self.until = max(self.slot.start, now + patience)
        return max((unit.ready for unit in units if now < unit.ready <= self.until), default=now)


class Promises:
    """Every promise that is still to be kept, by field and by unit. A private session needs none: it has its field."""

    def __init__(self, before: Sequence[Slot], grounds: Mapping[str, Ground], pause: float) -> None:
        self.made: list[Promise] = []
        self._of_field: dict[str, list[Promise]] = {}
        self._of_unit: dict[Name, list[Promise]] = {}
        for slot in sorted(before, key=lambda one: (one.start, one.field)):
            if not slot.private:
                self._add(slot, grounds.get(slot.field), pause)

    def _add(self, slot: Slot, ground: Ground | None, pause: float) -> None:
        lane = self._of_field.setdefault(slot.field, [])
        names = frozenset((seat.party, seat.part) for seat in slot.seats)
        promise = Promise(slot, slot.start, names)
        self.made.append(promise)
        if ground is None or ground.free_at is None:
            return
        earliest = lane[-1].expected + lane[-1].slot.minutes + pause if lane else max(0.0, ground.free_at)
        promise.expected = max(slot.start, earliest)
        lane.append(promise)
        for name in names:
            self._of_unit.setdefault(name, []).append(promise)

    def next_on(self, ground: Ground, now: float, pause: float) -> Promise | None:
        """The field's next promised game, unless there is time for another before it."""
        lane = self._of_field.get(ground.field)
        return lane[0] if lane and lane[0].slot.start < now + ground.minutes + pause else None

    def holds(self, promise: Promise, unit: Unit) -> bool:
        """Whether the unit is still promised this game."""
        return promise in self._of_unit.get(unit.name, ())

    def elsewhere(self, unit: Unit, here: Promise | None, by: float) -> bool:
        """Whether another game by then is promised to it."""
        first = next(iter(self._of_unit.get(unit.name, ())), None)
        return first is not None and first is not here and first.expected <= by

    def settle(self, promise: Promise | None, seated: Iterable[Unit]) -> None:
        """A game was made. Who plays in it otherwise than promised has this one in place of his next."""
        names = [unit.name for unit in seated]
        if promise is not None:
            self._of_field[promise.slot.field].remove(promise)
            promise.kept = promise.names.intersection(names)
            for name in promise.names:
                if promise in self._of_unit[name]:
                    self._of_unit[name].remove(promise)
        for name in names:
            if (promise is None or name not in promise.names) and self._of_unit.get(name):
                self._of_unit[name].pop(0)

    def moved(self, known: Iterable[str], until: float) -> tuple[str, ...]:
        """The parties that are here and not where a promise of this plan's time had them."""
        here = frozenset(known)
        lost = (name for one in self.made if one.expected < until for name in one.names - one.kept)
        return tuple(sorted({party for party, _ in lost} & here))
