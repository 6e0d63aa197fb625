"""Either side of a test: the chronograph's checks before and after it, and the work on it between them, by when they happened."""

from collections.abc import Iterable
from operator import attrgetter
from typing import Any, Final, NamedTuple

from contracts.envelope import Recorded
from contracts.velocity import ChronoAdjusted, ChronoChecked, MarkerTested
from services.velocity.states import decides

PLACE: Final = attrgetter("occurred_at", "position")


class Sides(NamedTuple):
    """Only checks that decide anything; without one after it, the work up to now."""

    before: Recorded[ChronoChecked] | None
    works: tuple[Recorded[ChronoAdjusted], ...]
    after: Recorded[ChronoChecked] | None

    @property
    def all(self) -> tuple[Recorded[Any], ...]:
        return tuple(one for one in (self.before, *self.works, self.after) if one is not None)


def sides(test: Recorded[MarkerTested], events: Iterable[Recorded[Any]]) -> Sides:
    """Of some events those that say whether the chronograph could be trusted with a test; told late or not."""
    kinds = (ChronoChecked, ChronoAdjusted)
    its = (one for one in events if isinstance(one.data, kinds) and one.data.chrono == test.data.chrono)
    ordered = sorted(its, key=PLACE)
    checks = [one for one in ordered if isinstance(one.data, ChronoChecked) and decides(one.data.signals)]
    before = next((one for one in reversed(checks) if PLACE(one) < PLACE(test)), None)
    after = next((one for one in checks if PLACE(one) > PLACE(test)), None)
    works = (one for one in ordered if isinstance(one.data, ChronoAdjusted))
    between = (
        one
        for one in works
        if (before is None or PLACE(one) > PLACE(before)) and (after is None or PLACE(one) < PLACE(after))
    )
    return Sides(before, tuple(between), after)
