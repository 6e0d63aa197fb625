"""A sample of any contract type, as it may be read on an invented Saturday at Larchmoor park: made from the types, so that none is ever missing or stale."""

import re
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from itertools import chain
from typing import Any, Final
from uuid import UUID

import msgspec
from msgspec import inspect
from msgspec.inspect import (
    BoolType,
    DateTimeType,
    DateType,
    DictType,
    FloatType,
    IntType,
    ListType,
    LiteralType,
    Metadata,
    NoneType,
    StrType,
    StructType,
    TupleType,
    Type,
    UnionType,
    UUIDType,
    VarTupleType,
)

MOMENT: Final = datetime(2026, 5, 9, 13, 12, tzinfo=UTC)
LATER: Final = MOMENT + timedelta(minutes=28)
KEY: Final = UUID("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
_HASH = "5f70bf18a086007016e948b04aed3b82103a36bea41755b6cddfaf10ace3c6ef"
NOTE: Final = (
    "fieldledger/larchmoor/1\n4711\nX3C/GKCGAHAW6UiwSu07ghA6Nr6kF1W2zd+vEKzjxu8=\ntime 2026-05-09T13:12:00Z\n\n"
    "— fieldledger/larchmoor 5FUgq3c0hZ4z8oWlyT9E0w2xV7aQkLJmBfNdRpSuXiYeHtGvCbOnMwAsDfGhJkLq\n"
)
_KEY_TEXT = "fieldledger/larchmoor+9356aeb2+Aa8i…"
_SAID: Final[Mapping[str, str]] = {
    "park": "larchmoor", "field": "birch", "player": "player-ash", "person": "person-ash", "group": "group-kestrel", "game": "birch-3",
    "rotation": "rotation-green", "marker": "marker-31", "mask": "mask-31", "bottle": "bottle-31", "chrono": "chrono-a", "test": "test-0231",
    "staff": "staff-wren", "actor": "staff-wren", "by": "staff-wren", "device": "gate-1", "holder": "player-ash", "incident": "incident-1",
    "caution": "caution-5", "hold": "hold-2", "payment": "till-3-0088", "refund": "refund-12", "call": "aid-1", "pass": "LM-0417",
    "armband": "17", "day_pass": "LM-0417", "proposal": "teams-6f1c22d09ab3e475", "plan": "plan-1330", "session": "session-kestrel",
    "giver": "player-ash", "taker": "player-elm", "adult": "person-rowan", "guardian": "person-rowan", "whom": "player-elm",
    "title": "Birch Wood", "model": "Heron 2", "time_zone": "Europe/London", "rules": "larchmoor-2026", "currency": "GBP",
    "code": "marker_not_tested", "subject": "marker:marker-31", "where": "chronograph", "party": "group:group-kestrel", "language": "en",
    "sentence": "The marker has not been measured as it is set up now.", "why": "A hold stands.", "status": "alive", "state": "relaying",
    "limit": "285 ft/s", "local_time": "14:12", "type": "games.player_admitted", "leaf_sha256": _HASH, "root": _HASH, "hashes": _HASH,
    "note": NOTE, "checkpoint": NOTE, "first_checkpoint": NOTE, "second_checkpoint": NOTE, "vkey": _KEY_TEXT, "replaces": _KEY_TEXT,
    "leaf": "fieldledger leaf 1\nlarchmoor\n1\n4711\n1778332320000000\n{…}", "because": "Nobody waited longer.", "says": "Ash was cleared for Birch Wood.",
    "text": "Slipped on wet boards by the second bunker.", "piece": "marker-31", "kept": "safe", "paint_batch": "B-2026-0417", "place": "bunker",
    "stated": "285 ft/s", "held": "283 ft/s", "name": "Birch Wood", "lateness": "told 3 minutes later", "service": "ambulance", "first": "",
    "summary": "13 people on it, 2 minors", "colour": "red", "origin": "fieldledger/larchmoor/1", "signed": "4711", "version": "2026.5", "format": "elimination",
    "webhook": "office", "host": "office.larchmoor.example", "url": "https://office.larchmoor.example/hooks/park",
}  # fmt: skip
"""What a text says, by the name of its field."""
_COUNTED: Final[Mapping[str, float]] = {
    "epoch": 1, "position": 4711, "size": 4711, "index": 4710, "version": 1, "armband": 17, "number": 17, "minutes": 15, "limit_fps": 285,
    "speed_fps": 281.4, "amount_minor": 2900, "players": 14, "counted": 13, "expected": 14, "device_seq": 118, "status": 200,
}  # fmt: skip
_NOT: Final = frozenset({"cleared", "repeat", "replaced", "voided", "sought", "search_open", "hidden", "off"})
"""What is rather not so."""
_TEXTS: Final = (
    "larchmoor",
    "en",
    "GBP",
    "ab" * 32,
    "group:group-kestrel",
    "1:4711",
    "LM-0417",
    "A" * 10,
    "0" * 16,
    "5f1c09ae",
    "11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo=",
)
"""What else may fit a pattern."""


def sample(kind: Any) -> Any:
    """A value of a type as JSON has it."""
    return msgspec.json.decode(msgspec.json.encode(_sample(inspect.type_info(kind), "", ())))


def _sample(kind: Type, name: str, within: tuple[type, ...]) -> Any:  # noqa: C901, PLR0911 - a case for each kind of type
    match kind:
        case Metadata():
            return _sample(kind.type, str((kind.extra or {}).get("tag", name)), within)
        case StrType():
            return _text(kind, name)
        case IntType() | FloatType():
            number = _number(kind, name)
            return float(number) if isinstance(kind, FloatType) else int(number)
        case LiteralType():
            return _SAID[name] if _SAID.get(name) in kind.values else kind.values[0]
        case BoolType():
            return name not in _NOT
        case UnionType():
            return _union(kind, name, within)
        case VarTupleType() | ListType():
            return (
                ()
                if _again(kind.item_type, within)
                else (_sample(kind.item_type, name.removesuffix("s"), within),) * (kind.min_length or 1)
            )
        case TupleType():
            return tuple(_sample(one, name.removesuffix("s"), within) for one in kind.item_types)
        case DictType():
            return {
                _sample(kind.key_type, name.removesuffix("s"), within): _sample(
                    kind.value_type, name.removesuffix("s"), within
                )
            }
        case StructType():
            made = {field.encode_name: _sample(field.type, field.name, (*within, kind.cls)) for field in kind.fields}
            return made if kind.tag_field is None else {kind.tag_field: kind.tag} | made
    return _moment(name) if isinstance(kind, DateTimeType) else _PLAIN.get(type(kind))


_PLAIN: Final[Mapping[type[Type], Any]] = {
    NoneType: None,
    DateType: date(2026, 5, 9),
    UUIDType: KEY,
}


def _union(kind: UnionType, name: str, within: tuple[type, ...]) -> Any:
    """Of what may be there the first that is no mere text; nothing where it would hold itself."""
    told = [one for one in kind.types if not isinstance(one, NoneType)]
    structs = [one for one in told if isinstance(one, StructType)]
    chosen = (structs or told)[0]
    return None if _again(chosen, within) and len(told) < len(kind.types) else _sample(chosen, name, within)


def _again(kind: Type, within: tuple[type, ...]) -> bool:
    return isinstance(kind, StructType) and kind.cls in within


def _text(kind: StrType, name: str) -> str:
    fits = re.compile(kind.pattern or "").search
    least, most = kind.min_length or 0, kind.max_length or 10_000
    known = _SAID.get(name, _SAID.get(name.removesuffix("s"), name.replace("_", " ") or "text"))
    for word in chain((known, f"{name}-1"), _TEXTS):
        if fits(word) and least <= len(word) <= most:
            return word
    raise NoSample(f"No text is known that {name} may be (pattern {kind.pattern}): add one to contracts/samples.py.")


def _number(kind: IntType | FloatType, name: str) -> float:
    number = _COUNTED.get(name, 3)
    low = kind.ge if kind.ge is not None else (kind.gt + 1 if kind.gt is not None else number)
    high = kind.le if kind.le is not None else (kind.lt - 1 if kind.lt is not None else number)
    return min(max(number, low), max(high, low))


def _moment(name: str) -> datetime:
    return (
        LATER
        if name in {"until", "deadline", "end", "ends", "due", "expires_at", "test_due", "late", "latest"}
        else MOMENT
    )


class NoSample(LookupError):  # noqa: N818 - a sample is missing, not the program wrong
    """Nothing here fits a text's pattern."""
