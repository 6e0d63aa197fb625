"""What a schema refuses, in words that somebody at a desk can act on."""

import re
from typing import Any, Final

import msgspec
from msgspec import inspect

from contracts.words import PlayerId

_NAME: Final = repr(msgspec.json.schema(PlayerId)["pattern"])
_NAME_RULE: Final = (
    "A name here has 1 to 64 letters without accents, digits, dots, underscores and hyphens, "
    "begins with a letter or a digit, and has no spaces"
)
_STEP: Final = re.compile(r"\.(\w+)|\[(?:\d+|\.\.\.)\]")


def plainly(error: msgspec.ValidationError, kind: Any) -> tuple[str, str]:
    """What does not fit `kind`, without a full stop, and where in it, as a JSON path."""
    what, _, where = str(error).partition(" - at `")
    path = where.rstrip("`") or "$"
    if _NAME in what:
        return _NAME_RULE, path
    if what.startswith("Expected `str` matching regex "):
        examples = _examples(_at(inspect.type_info(kind), path, bare=False))
        return (f"Expected something of the form of {' or '.join(examples)}" if examples else what), path
    value = what.removeprefix("Invalid enum value ")
    allowed = _at(inspect.type_info(kind), path)
    if value != what and isinstance(allowed, inspect.LiteralType):
        return f"{value} does not fit: it can be {_listed(allowed)}", path
    return what, path


def _examples(found: Any) -> list[str]:
    """What the contract gives as examples of a text."""
    if isinstance(found, inspect.UnionType):
        return next(filter(None, map(_examples, found.types)), [])
    given = (found.extra_json_schema or {}) if isinstance(found, inspect.Metadata) else {}
    return [str(one) for one in given.get("examples", ())]


def _at(found: Any, path: str, *, bare: bool = True) -> Any:
    """The type that a path leads to, `bare` without what describes it; None where it cannot be followed."""
    for step in _STEP.finditer(path):
        found, name = _given(found), step.group(1)
        if name is None:
            found = getattr(found, "item_type", None)
        else:
            found = next((field.type for field in getattr(found, "fields", ()) if field.encode_name == name), None)
    return _given(found) if bare else found


def _given(found: Any) -> Any:
    """What stands there when it is not left out."""
    while isinstance(found, inspect.Metadata):
        found = found.type
    if isinstance(found, inspect.UnionType):
        return _given(next(one for one in found.types if not isinstance(one, inspect.NoneType)))
    return found


def _listed(literal: inspect.LiteralType) -> str:
    return ", ".join(msgspec.json.encode(value).decode() for value in literal.values)
