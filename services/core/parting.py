"""Where a projection's rows and the log part: the first event after which a row is no longer what the log says."""

import math
from collections.abc import Iterable, Mapping
from typing import Any, Generic, TypeVar

from msgspec import Struct

from contracts.envelope import Recorded
from services.core.projection import Projection

S = TypeVar("S")


class Place(Struct, frozen=True):
    """An event of the log, by its position and type."""

    position: int
    type: str

    def __str__(self) -> str:
        return f"position {self.position} ({self.type})"


class Parting(Struct, frozen=True):
    """One row that is not what the log says.

    `agreed` is the last position at which it was, 0 if that was before the tag's first event, None if at no point.
    `parted` is the first event after which it no longer was, None where the log holds no event of the tag.
    """

    tag: str
    agreed: int | None
    parted: Place | None

    @property
    def sentence(self) -> str:
        if self.parted is None:
            return f"there is a row of {self.tag}, of which the log tells nothing"
        if self.agreed is None:
            return f"the row of {self.tag} is what the log says at no point, from its first event on, {self.parted}"
        if self.agreed == 0:
            return f"{self.tag} has no row, though the log tells of it from {self.parted} on"
        return (
            f"the row of {self.tag} and the log part at {self.parted}; after position {self.agreed} they were the same"
        )


class Partings(Generic[S]):
    """Replays the tags of some rows, event by event, and remembers where each row and its replay were last the same.

    `live` are the rows' bytes by tag, None where there is no row. A tag's state rests on the tag's own events alone.
    """

    def __init__(self, projection: Projection[S], live: Mapping[str, bytes | None]) -> None:
        self._projection = projection
        self._live = live
        self._states: dict[str, S] = {}
        self._found = {tag: Parting(tag, 0 if row is None else None, None) for tag, row in live.items()}

    def take(self, events: Iterable[Recorded[Any]]) -> None:
        """The next events of the log, in order."""
        for event in events:
            if tags := [tag for tag in self._projection.tags(event) if tag in self._live]:
                states = {tag: self._states[tag] for tag in tags if tag in self._states}
                self._projection.apply((event,), states)
                for tag in tags:
                    self._step(tag, states, Place(event.position, event.type))

    def _step(self, tag: str, states: Mapping[str, S], place: Place) -> None:
        before = self._found[tag]
        if tag in states:
            self._states[tag] = states[tag]
        replayed = self._projection.encode(tag, states[tag]) if tag in states else None
        if replayed == self._live[tag]:
            self._found[tag] = Parting(tag, place.position, None)
        elif before.parted is None:
            self._found[tag] = Parting(tag, before.agreed, place)

    @property
    def first(self) -> Parting:
        """The row that parted from the log first; one of which the log tells nothing comes last."""
        return min(self._found.values(), key=_order)


def _order(one: Parting) -> tuple[float, str]:
    return (one.parted.position if one.parted else math.inf, one.tag)
