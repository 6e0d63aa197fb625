"""Two worlds side by side: what was recorded, and what would have been. Only where they differ is anything kept twice."""

from collections.abc import Awaitable, Callable, Collection, Iterable
from typing import Any, Final, TypeVar, cast

from contracts.envelope import Recorded
from services.audit.replays.decisions import MEMORY
from services.core.fold import Fold, Given, Subject
from services.core.folds import States

S = TypeVar("S")
Before = Callable[[Collection[str]], Awaitable[dict[str, States]]]
"""The states of these tags before the story begins; a tag of which nothing is known may be absent."""
_AT: Final = {fold: at for folds in MEMORY.by_prefix.values() for at, fold in enumerate(folds)}


class World(Given):
    """One world's states, as a decision reads them: `apart` first, then what is common to both."""

    def __init__(self, common: dict[str, States], apart: dict[str, States]) -> None:
        super().__init__()
        self._common, self._apart = common, apart

    def of(self, fold: Fold[S], subject: str) -> S:
        tag = fold.tag(subject)
        states = self._apart.get(tag) or self._common.get(tag)
        return fold.start(subject) if states is None else cast("S", states[_AT[fold]])


class Worlds:
    """Both worlds, brought forward event by event."""

    def __init__(self, before: Before) -> None:
        self._before = before
        self._states: dict[str, States] = {}
        self._apart: dict[str, States] = {}
        self._known: set[str] = set()
        self._asked: set[Subject] = set()
        self.recorded = World(self._states, {})
        self.other = World(self._states, self._apart)

    async def have(self, tags: Iterable[str]) -> bool:
        """Have these tags at hand as they were before the story, unless they are; returns whether any had to be read."""
        missing = [tag for tag in dict.fromkeys(tags) if tag not in self._known]
        if missing:
            self._states |= await self._before(missing)
            self._known.update(missing)
        return bool(missing)

    async def have_for(self, reads: Callable[[Given], Iterable[Subject]]) -> frozenset[Subject]:
        """Have at hand whatever a question reads in either world; returns what it reads in the recorded one."""
        while True:
            found = frozenset(reads(self.recorded))
            wanted = found | set(reads(self.other)) if self.differ(found) else found
            news = wanted - self._asked
            self._asked |= news
            if not await self.have(fold.tag(subject) for fold, subject in news):
                return found

    @property
    def same(self) -> bool:
        """Whether the worlds do not differ in anything."""
        return not self._apart

    def differ(self, subjects: Collection[Subject]) -> bool:
        """Whether the worlds differ in any of these; the shorter list is gone through."""
        if len(subjects) < len(self._apart):
            return any(fold.tag(subject) in self._apart for fold, subject in subjects)
        return any(subject in subjects for tag in self._apart for subject in _subjects(tag))

    def take(self, event: Recorded[Any], other: Recorded[Any] | None) -> None:
        """One more event. `other` is what the other world has in its place: the same, one told otherwise, or nothing."""
        if other is event and not self._apart:
            MEMORY.apply((event,), self._states)
            return
        tags = MEMORY.tags(event)
        apart = {tag: self._now(tag) for tag in tags if other is not event or tag in self._apart}
        MEMORY.apply((event,), self._states)
        for tag, states in apart.items():
            after = states if other is None else _after(tag, states, other)
            if after == self._states[tag]:
                self._apart.pop(tag, None)
            else:
                self._apart[tag] = after

    def _now(self, tag: str) -> States:
        return self._apart.get(tag) or self._states.get(tag) or MEMORY.start(tag)


def folded(tag: str, events: Iterable[Recorded[Any]]) -> States:
    """The states of a tag after these events."""
    states = MEMORY.start(tag)
    for event in events:
        states = _after(tag, states, event)
    return states


def _subjects(tag: str) -> Iterable[Subject]:
    prefix, _, name = tag.partition(":")
    return ((fold, name) for fold in MEMORY.by_prefix[prefix])


def _after(tag: str, states: States, event: Recorded[Any]) -> States:
    prefix, _, subject = tag.partition(":")
    folds = MEMORY.by_prefix[prefix]
    return tuple(fold.step(subject, state, event) for fold, state in zip(folds, states, strict=True))
