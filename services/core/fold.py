"""Folding: a subject's state is what its events, in the order of their positions, make of an empty one."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Generic, TypeVar, cast

from contracts.catalogue import TYPES
from contracts.envelope import Data, Recorded, Unknown

S = TypeVar("S")
Evolve = Callable[[S, Recorded[Any]], S]


_CLASSES: tuple[type[Data], ...] = (*TYPES, Unknown)


def _evolve(evolves: Mapping[type[Data], Evolve[S]], data: type[Data]) -> Evolve[S] | None:
    """What is done at a class of events: what stands for it, or else for the class that it is a kind of."""
    return next((evolves[base] for base in data.__mro__ if base in evolves), None)


class Fold(Generic[S]):
    """How the events of one kind of tag become a state: where it starts, and what each class of event does to it.

    An event of a class without an entry leaves the state as it was. `name` tells folds over the same kind of tag apart.
    """

    def __init__(
        self, name: str, prefix: str, start: Callable[[str], S], evolves: Mapping[type[Data], Evolve[S]]
    ) -> None:
        self.name = name
        self.prefix = prefix
        self.start = start
        self.evolves = {data: evolve for data in _CLASSES if (evolve := _evolve(evolves, data)) is not None}
        self.anew = frozenset(data for data in TYPES if prefix in data.CARRIES)
        self.types = frozenset(TYPES[data] for data in {*self.evolves, *self.anew} if data in TYPES)

    def tag(self, subject: str) -> str:
        """The tag of a subject; a fold whose prefix is the whole tag (the park, its rules) has one subject, the empty one."""
        return f"{self.prefix}:{subject}" if subject else self.prefix

    def subject(self, tag: str) -> str:
        return tag.partition(":")[2]

    def step(self, subject: str, state: S, event: Recorded[Any]) -> S:
        """The state after one more event; an event that carries the tag begins from an empty one."""
        data = type(event.data)
        if data in self.anew:
            state = self.start(subject)
        evolve = self.evolves.get(data)
        return state if evolve is None else evolve(state, event)

    def over(self, subject: str, events: Iterable[Recorded[Any]], state: S | None = None) -> S:
        """The subject's state after these events, from a state they follow on, or from an empty one."""
        if state is None:
            state = self.start(subject)
        for event in events:
            state = self.step(subject, state, event)
        return state


Subject = tuple[Fold[Any], str]


class Given:
    """The states that a command is decided on."""

    def __init__(self, states: Mapping[Subject, Any] | None = None) -> None:
        self._states: dict[Subject, Any] = dict(states or {})

    def of(self, fold: Fold[S], subject: str) -> S:
        """The state of a subject: an empty one while nothing has been read of it."""
        found = self._states.get((fold, subject))
        return cast("S", found) if found is not None else fold.start(subject)

    def put(self, subject: Subject, state: Any) -> None:
        self._states[subject] = state

    def copy(self) -> "Given":
        """The same states, whatever is put here later."""
        return Given(self._states)

    def __contains__(self, subject: Subject) -> bool:
        return subject in self._states
