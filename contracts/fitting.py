"""Whether every value that one JSON Schema allows is also allowed by another: for the few words of JSON Schema that our types are written in."""

import operator
import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

Schema = Mapping[str, Any]
_MOST: Final = {
    "maximum": "more than",
    "exclusiveMaximum": "as much as",
    "maxLength": "longer than",
    "maxItems": "more than",
}
_LEAST: Final = {
    "minimum": "less than",
    "exclusiveMinimum": "as little as",
    "minLength": "shorter than",
    "minItems": "fewer than",
}
_PYTHON: Final[Mapping[type, frozenset[str]]] = {
    bool: frozenset({"boolean"}),
    int: frozenset({"integer", "number"}),
    float: frozenset({"number"}),
    str: frozenset({"string"}),
    type(None): frozenset({"null"}),
}


class Fitting:
    """Compares schemas of one set of named types with those of another.

    `reading`: of somebody who reads, so that new fields do not matter, and those that are gone do.
    """

    def __init__(self, narrow: Mapping[str, Schema], wide: Mapping[str, Schema], *, reading: bool = False) -> None:
        self._narrow, self._wide, self._reading = narrow, wide, reading
        self._at_work: set[tuple[str, str]] = set()

    def escapes(self, narrow: Schema, wide: Schema, where: str = "it") -> list[str]:
        """A sentence for each way in which a value of `narrow` is none of `wide`."""
        names = narrow.get("$ref", ""), wide.get("$ref", "")
        if names in self._at_work:
            return []
        if all(names):
            self._at_work.add(names)
        try:
            return list(self._escapes(narrow, wide, where))
        finally:
            self._at_work.discard(names)

    def _escapes(self, narrow: Schema, wide: Schema, where: str) -> Iterator[str]:
        allowed = list(_kinds(wide, self._wide))
        if {} in allowed:
            return
        for kind in _kinds(narrow, self._narrow):
            if "enum" in kind:
                yield from (
                    f"{where} may be {value!r}"
                    for value in kind["enum"]
                    if not any(_takes(one, value) for one in allowed)
                )
                continue
            ways = [list(self._beyond(kind, one, where)) for one in allowed if _alike(kind, one)]
            if not ways:
                yield f"{where} may be {_name(kind)}"
            elif all(ways):
                yield from min(ways, key=len)

    def _beyond(self, narrow: Schema, wide: Schema, where: str) -> Iterator[str]:
        yield from _bounds(narrow, wide, where)
        if narrow.get("type") == "object":
            yield from self._fields(narrow, wide, where)
        elif narrow.get("type") == "array":
            yield from self._items(narrow, wide, where)

    def _fields(self, narrow: Schema, wide: Schema, where: str) -> Iterator[str]:
        here, there = narrow.get("properties", {}), wide.get("properties", {})
        rest, taken = narrow.get("additionalProperties", {}), wide.get("additionalProperties", {})
        prefix = "" if where == "it" else f"{where}."
        for name in sorted(set(wide.get("required", ())) - set(narrow.get("required", ()))):
            yield f"{prefix}{name} may be absent"
        for name, schema in here.items():
            if name in there:
                yield from self.escapes(schema, there[name], f"{prefix}{name}")
            elif taken is False:
                yield f"{prefix}{name} is not known"
            elif isinstance(taken, Mapping):
                yield from self.escapes(schema, taken, f"{prefix}{name}")
        if self._reading:
            gone = set(there) - set(here) - set(wide.get("required", ()))
            yield from (f"{prefix}{name} is gone" for name in sorted(gone))
        if rest is not False and taken is False:
            yield f"{where} may hold fields that are not known"
        elif isinstance(rest, Mapping) and isinstance(taken, Mapping):
            yield from self.escapes(rest, taken, f"{prefix}*")

    def _items(self, narrow: Schema, wide: Schema, where: str) -> Iterator[str]:
        here, there = narrow.get("prefixItems", ()), wide.get("prefixItems", ())
        if len(here) != len(there):
            yield f"{where} may have {len(here)} parts in place of {len(there)}"
            return
        for number, (one, other) in enumerate(zip(here, there, strict=True), 1):
            yield from self.escapes(one, other, f"{where}[{number}]")
        items, taken = narrow.get("items", {}), wide.get("items", {})
        if isinstance(items, Mapping) and isinstance(taken, Mapping):
            yield from self.escapes(items, taken, f"{where}[]")


def _kinds(schema: Schema, types: Mapping[str, Schema]) -> Iterator[Schema]:
    """The plain schemas that a schema is one of."""
    if "$ref" in schema:
        yield from _kinds(types[schema["$ref"]], types)
    elif "anyOf" in schema:
        for one in schema["anyOf"]:
            yield from _kinds(one, types)
    elif "const" in schema:
        yield {"enum": [schema["const"]]}
    else:
        yield schema


def _name(kind: Schema) -> str:
    return {"null": "null", "object": "an object", "array": "a list", "": "anything"}.get(
        kind.get("type", ""), f"a {kind.get('format') or kind.get('type')}"
    )


def _alike(narrow: Schema, wide: Schema) -> bool:
    if "enum" in wide or "not" in wide:
        return False
    kinds = narrow.get("type"), wide.get("type")
    return kinds[0] == kinds[1] or kinds == ("integer", "number")


def _takes(kind: Schema, value: Any) -> bool:
    """Whether a plain schema takes one value of an enumeration."""
    if "enum" in kind:
        return any(value == one and type(value) is type(one) for one in kind["enum"])
    fits = kind.get("type") in _PYTHON.get(type(value), frozenset())
    return fits and (not isinstance(value, str) or re.search(kind.get("pattern", ""), value) is not None)


def _bounds(narrow: Schema, wide: Schema, where: str) -> Iterator[str]:
    for word in ("format", "pattern", "contentEncoding"):
        if word in wide and narrow.get(word) != wide[word]:
            yield f"{where} may be text of another form"
            return
    for words, beyond in ((_MOST, operator.gt), (_LEAST, operator.lt)):
        for word, than in words.items():
            if word in wide and (word not in narrow or beyond(narrow[word], wide[word])):
                yield f"{where} may be {than} {wide[word]}"
