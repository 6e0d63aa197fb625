"""Which events somebody wants: by type and by subject."""

from collections.abc import Iterable
from functools import lru_cache

from msgspec import Struct


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


EVERYTHING = Wanted()
