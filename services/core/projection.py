"""A projection: what it must say about itself, and what it tells whoever listens."""

from collections.abc import Callable, Iterable, Mapping, MutableMapping, Sequence
from typing import Any, Generic, Protocol, TypeVar

from msgspec import Struct

from contracts.envelope import Recorded

S = TypeVar("S")


class Projection(Protocol[S]):
    """A pure rule that keeps one state for each tag. No clock, no chance and no I/O inside: a replay must give the same."""

    @property
    def name(self) -> str: ...

    @property
    def shape(self) -> str:
        """Names the form of the rows: another name, and a start makes them again from the log."""
        ...

    def tags(self, event: Recorded[Any]) -> Iterable[str]:
        """The tags whose states must be at hand when this event is applied."""
        ...

    def apply(self, events: Sequence[Recorded[Any]], states: MutableMapping[str, S]) -> Iterable[str]:
        """Bring `states` over the events, in order, and name the tags that changed. A tag never seen before is absent.

        Where one call ends and the next begins must make no difference.
        """
        ...

    def encode(self, tag: str, state: S) -> bytes:
        """The state's bytes: equal states give equal bytes."""
        ...

    def decode(self, tag: str, state: bytes) -> S: ...


class Change(Struct, Generic[S], frozen=True):
    """Events that a projection has taken in, and the states of the tags that they changed. Already committed."""

    name: str
    park: str
    epoch: int
    position: int
    events: Sequence[Recorded[Any]]
    states: Mapping[str, S]


Listener = Callable[[Change[Any]], None]
"""Called after each commit, in order, in the reader's own task: it hands on and returns at once."""
