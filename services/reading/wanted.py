"""Which events somebody wants: by type and by subject."""

from collections.abc import Iterable
from difflib import get_close_matches
from functools import lru_cache
from typing import Final

from msgspec import Struct

from contracts.catalogue import EVENTS, SUBJECTS

TYPES: Final = frozenset(EVENTS) | {f"{name.partition('.')[0]}.*" for name in EVENTS}
"""What events can be asked for as."""


class Wanted(Struct, frozen=True):
    """Whatever is of one of the types and concerns one of the tags; where none is named, all are meant."""

    types: frozenset[str] = frozenset()
    tags: frozenset[str] = frozenset()

    @property
    def everything(self) -> bool:
        return not self.types and not self.tags

    def fits(self, kind: str, tags: Iterable[str]) -> bool:
        if self.types and not self.types & _names(kind):
            return False
        return not self.tags or not self.tags.isdisjoint(tags)


@lru_cache(maxsize=1024)
def _names(kind: str) -> frozenset[str]:
    """What a type can be asked for as: by its name, or by its service."""
    return frozenset({kind, f"{kind.partition('.')[0]}.*"})


def no_such_type(name: str) -> str:
    """Why no event will ever be of this type, or nothing: whoever has mistyped it would wait for ever."""
    return "" if name in TYPES else f"no event is of the type {name}; {_near(name, TYPES)}. /docs shows them all"


def no_such_subject(tag: str) -> str:
    """The same of a tag; whether the record knows this very field or player is no matter."""
    kind, colon, _ = tag.partition(":")
    if f"{kind}{colon}" in SUBJECTS:
        return ""
    return f"no event concerns {tag}; a tag is one such as field:birch, or one of {', '.join(sorted(SUBJECTS))}"


def _near(name: str, known: Iterable[str]) -> str:
    found = get_close_matches(name, sorted(known), n=3)
    return f"near it: {', '.join(found)}" if found else f"a type is one such as {next(iter(EVENTS))}"


EVERYTHING = Wanted()
