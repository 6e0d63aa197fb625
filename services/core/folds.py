"""The projection that keeps folds as rows: for each tag the states of every fold over it."""

from collections.abc import Callable, Iterable, Mapping, MutableMapping, Sequence
from functools import cached_property
from hashlib import sha256
from typing import Any

import msgspec

from contracts.envelope import Data, Recorded
from services.core.fold import Evolve, Fold, Given

States = tuple[Any, ...]
Minding = dict[str, tuple[tuple[int, Callable[[str], Any] | None, Evolve[Any] | None], ...]]
_encoder = msgspec.json.Encoder(order="deterministic")


class Folds:
    """Folds by the prefix of their tag. A tag's state is a tuple: one state for each fold over it, in the order given."""

    def __init__(self, name: str, folds: Iterable[Fold[Any]]) -> None:
        self._name = name
        self.by_prefix: dict[str, tuple[Fold[Any], ...]] = {}
        for fold in folds:
            self.by_prefix[fold.prefix] = (*self.by_prefix.get(fold.prefix, ()), fold)
        self._concerned: dict[type[Data], Minding] = {}
        self._decoders = {
            prefix: msgspec.json.Decoder(tuple[tuple(type(fold.start("")) for fold in folds)])  # type: ignore[misc]
            for prefix, folds in self.by_prefix.items()
        }

    @property
    def name(self) -> str:
        return self._name

    @cached_property
    def shape(self) -> str:
        """A digest of what each fold keeps, and of which events it minds."""
        states = [type(fold.start("")) for folds in self.by_prefix.values() for fold in folds]
        schemas, parts = msgspec.json.schema_components(states)
        minds = [(fold.name, sorted(fold.types)) for folds in self.by_prefix.values() for fold in folds]
        return sha256(_encoder.encode((list(self.by_prefix), minds, schemas, parts))).hexdigest()

    def _minding(self, data: type[Data]) -> Minding:
        """For each prefix what this class of event does to the states of a tag: where, whether it begins anew, how it evolves."""
        found = self._concerned.get(data)
        if found is None:
            minding = {
                prefix: tuple(
                    (at, fold.start if data in fold.anew else None, fold.evolves.get(data))
                    for at, fold in enumerate(folds)
                    if data in fold.evolves or data in fold.anew
                )
                for prefix, folds in self.by_prefix.items()
            }
            found = self._concerned[data] = {prefix: folds for prefix, folds in minding.items() if folds}
        return found

    def tags(self, event: Recorded[Any]) -> list[str]:
        minding = self._minding(type(event.data))
        return [tag for tag in event.tags if tag.partition(":")[0] in minding] if minding else []

    def start(self, tag: str) -> States:
        prefix, _, subject = tag.partition(":")
        return tuple(fold.start(subject) for fold in self.by_prefix[prefix])

    def apply(self, events: Sequence[Recorded[Any]], states: MutableMapping[str, States]) -> set[str]:
        changed: set[str] = set()
        for event in events:
            minding = self._minding(type(event.data))
            for tag in self.tags(event):
                prefix, _, subject = tag.partition(":")
                after = list(states.get(tag) or self.start(tag))
                for at, start, evolve in minding[prefix]:
                    state = after[at] if start is None else start(subject)
                    after[at] = state if evolve is None else evolve(state, event)
                states[tag] = tuple(after)
                changed.add(tag)
        return changed

    def encode(self, _tag: str, state: States) -> bytes:
        return _encoder.encode(state)

    def decode(self, tag: str, state: bytes) -> States:
        decoded: States = self._decoders[tag.partition(":")[0]].decode(state)
        return decoded

    def given(self, states: Mapping[str, States], given: Given | None = None) -> Given:
        """These rows as the states that a decision is made on; added to those that are given already."""
        given = Given() if given is None else given
        for tag, values in states.items():
            prefix, _, subject = tag.partition(":")
            for fold, value in zip(self.by_prefix[prefix], values, strict=True):
                given.put((fold, subject), value)
        return given
