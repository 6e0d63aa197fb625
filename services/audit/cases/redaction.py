"""What of an event may leave the park in a case file: of other players nothing but an opaque id."""

from collections.abc import Iterator
from functools import cache
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin, get_type_hints

import msgspec
from msgspec import Meta, Struct

from contracts.envelope import Data, Reason, Unknown
from contracts.reasons import REASONS
from services.vault.model import CONCERNS

GEAR = frozenset({"marker", "mask", "bottle"})
TELLING = frozenset({"offenders", "left_out", "missing", "accounted", "uncovers"})
"""Lists in which an id alone already says something about whoever stands in them."""
ABOUT_HIM = ("discipline.", "incidents.", "registration.", "vault.")
"""Services whose events say something about a player by their type alone."""
NAMING = frozenset({"heads_missing"})
"""Reasons whose sentence names others."""
HURT_AT_WORK = "worker"
"""The field that names one of staff as a casualty: nobody whom a case file of a player may tell of."""
HURT = "incidents."
"""Whose events say so of everybody in their lists, too."""


class Own(Struct, frozen=True, kw_only=True):
    """Whom a case file is about: what is about these may be told whole."""

    players: frozenset[str] = frozenset()
    persons: frozenset[str] = frozenset()
    """Those players as human beings, and the adults who answer for them."""
    tags: frozenset[str] = frozenset()
    """The case's subject, and the gear that those players held."""
    armbands: frozenset[int] = frozenset()


def view(kind: str, data: Data, own: Own) -> Any:
    """An event's data as it may be told, as JSON values; equal to the data's own wherever nothing has to be withheld."""
    if isinstance(data, Unknown):
        return {}
    return whole(_struct(data, own, kind))


def whole(data: Any) -> Any:
    """An event's data as JSON values."""
    return msgspec.json.decode(msgspec.json.encode(data))


def withheld_words(data: Data, seen: Any) -> frozenset[str]:
    """What an event says and its view does not, word by word."""
    return frozenset(_words(whole(data))) - frozenset(_words(seen))


def _words(value: Any) -> Iterator[str]:
    if isinstance(value, dict | list):
        for one in value.values() if isinstance(value, dict) else value:
            yield from _words(one)
    elif not isinstance(value, bool | None):
        yield str(value)


def others_alone(data: Struct, own: Own) -> bool:
    """Whether this names players one by one, and none of them is of the case."""
    named = set(_named(data))
    return bool(named) and not named & own.players


def impersonal(reason: Reason) -> Reason:
    """A reason without whom else its sentence names: who is missing on a field, for whom a guardian consented."""
    if reason.code not in NAMING and CONCERNS not in reason.sentence:
        return reason
    subject = None if (reason.subject or "").startswith("person:") else reason.subject
    told = REASONS[reason.code].sentence if reason.code in REASONS else ""
    return msgspec.structs.replace(reason, sentence=told, subject=subject)


def _struct(value: Struct, own: Own, kind: str) -> dict[str, Any]:
    value = impersonal(value) if isinstance(value, Reason) else value
    prefixes = _prefixes(type(value))
    if others_alone(value, own):
        told = {name: _kept(name, getattr(value, name), prefix, own, kind) for name, prefix in prefixes.items()}
        named = "" if kind.startswith(ABOUT_HIM) else "player"
        return {
            name: one
            for name, one in told.items()
            if one not in (None, []) and (prefixes[name] == named or f"{prefixes[name]}:{one}" in own.tags)
        }
    shared = any(player not in own.players for player in _listed(value))
    seen: dict[str, Any] = {}
    for name in value.__struct_fields__:
        one, prefix = getattr(value, name), prefixes.get(name)
        if one is None and value.__struct_config__.omit_defaults:
            continue
        if prefix in GEAR and shared:
            one = _only(one, lambda item, prefix=prefix: f"{prefix}:{item}" in own.tags)
        seen[name] = _kept(name, one, prefix, own, kind)
    if (armband := getattr(value, "armband", None)) is not None and armband not in own.armbands:
        seen = {name: one for name, one in seen.items() if name not in {"armband", "colour"}}
    return seen


def _kept(name: str, value: Any, prefix: str | None, own: Own, kind: str) -> Any:
    """One field's value as it may be told."""
    if prefix == "person":
        value = _only(value, lambda person: person in own.persons)
    elif prefix == "player" and (name in TELLING or kind.startswith(HURT)):
        value = _only(value, lambda player: player in own.players)
    elif isinstance(value, Struct):
        return _struct(value, own, kind)
    elif isinstance(value, tuple) and value and isinstance(value[0], Struct):
        return [_struct(one, own, kind) for one in value if name not in TELLING or not others_alone(one, own)]
    return msgspec.to_builtins(value)


def _only(value: Any, fits: Any) -> Any:
    if isinstance(value, tuple):
        return tuple(one for one in value if fits(one))
    return value if value is not None and fits(value) else None


def _named(value: Struct) -> Iterator[str]:
    """The players that a structure names one by one, and a worker who was hurt."""
    for name, prefix in _prefixes(type(value)).items():
        if (prefix == "player" or name == HURT_AT_WORK) and isinstance(found := getattr(value, name), str):
            yield found


def _listed(value: Struct) -> Iterator[str]:
    """The players that stand in a list of a structure."""
    for name, prefix in _prefixes(type(value)).items():
        if prefix == "player" and isinstance(found := getattr(value, name), tuple):
            yield from found


@cache
def _prefixes(struct: type[Struct]) -> dict[str, str]:
    """The fields that hold identifiers, each with its tag's prefix."""
    hints = get_type_hints(struct, include_extras=True)
    return {name: prefix for name in struct.__struct_fields__ if (prefix := _prefix(hints[name]))}


def _prefix(hint: Any) -> str:
    origin, arguments = get_origin(hint), get_args(hint)
    if origin is Annotated:
        for meta in arguments[1:]:
            if isinstance(meta, Meta) and meta.extra and "tag" in meta.extra:
                return str(meta.extra["tag"])
        return _prefix(arguments[0])
    if origin in {Union, UnionType, tuple}:
        return next((found for one in arguments if (found := _prefix(one))), "")
    return ""
