"""Instances of any contract type: a plain one, and a hypothesis strategy for all of them."""

import re
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

from hypothesis import strategies as st
from msgspec import inspect
from msgspec.inspect import (
    AnyType,
    BoolType,
    DateTimeType,
    DateType,
    FloatType,
    IntType,
    LiteralType,
    Metadata,
    NoneType,
    StrType,
    StructType,
    Type,
    UnionType,
    UUIDType,
    VarTupleType,
)


def strategy(kind: Any) -> st.SearchStrategy[Any]:
    """Every value that a type allows."""
    return _strategy(inspect.type_info(kind))


def _strategy(kind: Type) -> st.SearchStrategy[Any]:  # noqa: PLR0911 - a case for each kind of type
    match kind:
        case Metadata():
            return _strategy(kind.type)
        case StrType(pattern=str(pattern)):
            return st.from_regex(pattern, fullmatch=True)
        case StrType():
            return st.text(min_size=kind.min_length or 0, max_size=kind.max_length or 8)
        case FloatType():
            low, high = (kind.ge if kind.ge is not None else kind.gt), kind.le
            return st.floats(low, high, exclude_min=kind.gt is not None, allow_nan=False, allow_infinity=False)
        case IntType():
            return st.integers(kind.ge if kind.ge is not None else -(2**53), kind.le if kind.le is not None else 2**53)
        case LiteralType():
            return st.sampled_from(kind.values)
        case UnionType():
            return st.one_of(*map(_strategy, kind.types))
        case VarTupleType():
            least = kind.min_length or 0
            return st.lists(_strategy(kind.item_type), min_size=least, max_size=least + 3).map(tuple)
        case StructType():
            return st.builds(kind.cls, **{field.name: _strategy(field.type) for field in kind.fields})
    return _SIMPLE[type(kind)]


_SIMPLE: dict[type[Type], st.SearchStrategy[Any]] = {
    NoneType: st.none(),
    BoolType: st.booleans(),
    DateType: st.dates(),
    DateTimeType: st.datetimes(timezones=st.just(UTC)),
    UUIDType: st.uuids(),
}


_WORDS = ("cy", "GBP", "Europe/London", "ab" * 32, "group:cy", "games.game_ended", "5f1c09ae", f"{'A' * 43}=")
"""What fits the patterns of texts that are no names."""


def plain(kind: Any, name: str = "") -> Any:
    """One value of a type in which nothing is left out."""
    return _plain(inspect.type_info(kind), name)


def _plain(kind: Type, name: str) -> Any:  # noqa: PLR0911 - a case for each kind of type
    match kind:
        case Metadata():
            tag = (kind.extra or {}).get("tag", name)
            return _plain(kind.type, tag)
        case StrType():
            fits = re.compile(kind.pattern or "").search
            return next(word for word in (f"{name}-1", *_WORDS) if fits(word))
        case FloatType() | IntType():
            least = kind.ge if kind.ge is not None else kind.gt
            number = 7 if least is None or least < 7 else least
            number = number if kind.le is None or number <= kind.le else kind.le
            return float(number) if isinstance(kind, FloatType) else int(number)
        case LiteralType():
            return kind.values[-1]
        case UnionType():
            return _plain(next(one for one in kind.types if not isinstance(one, NoneType)), name)
        case VarTupleType():
            return (_plain(kind.item_type, name),)
        case StructType():
            return kind.cls(**{field.name: _plain(field.type, field.name) for field in kind.fields})
    return _PLAIN[type(kind)]


_PLAIN: dict[type[Type], Any] = {
    BoolType: True,
    DateType: date(2026, 5, 9),
    DateTimeType: datetime(2026, 5, 9, 9, 30, 15, 250000, UTC),
    UUIDType: UUID("017F22E2-79B0-7CC3-98C4-DC0C0C07398F"),
    AnyType: None,
}


def identifiers(kind: Type, value: Any) -> set[str]:  # noqa: PLR0911 - a case for each kind of type
    """The tags of every identifier in a value, found by walking its type."""
    match kind:
        case Metadata(extra={"tag": prefix}):
            return {f"{prefix}:{value}"}
        case Metadata():
            return identifiers(kind.type, value)
        case UnionType():
            if value is None:
                return set()
            return set().union(*(identifiers(one, value) for one in kind.types if not isinstance(one, NoneType)))
        case VarTupleType():
            return set().union(*(identifiers(kind.item_type, one) for one in value))
        case StructType():
            found = (identifiers(field.type, getattr(value, field.name)) for field in kind.fields)
            return set().union(*found)
    return set()
