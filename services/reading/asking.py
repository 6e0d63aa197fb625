"""What a reader asks for, by the query and the headers of his request."""

from collections.abc import Iterable
from typing import Any, Final

import msgspec
from litestar import Request

from contracts.problems import InvalidParameter
from contracts.reading import MOST_LINES, TagName, Token, TypeName
from services.core.plainly import plainly
from services.reading.places import Place, read_place
from services.reading.wanted import Wanted, no_such_subject, no_such_type

LIMIT: Final = 1000
_SEVERAL: Final = 50
Asked = Request[Any, Any, Any]


def wanted_by(request: Asked) -> Wanted:
    """The types and tags of a query, each of which an event can have; raises InvalidParameter."""
    wanted = Wanted(frozenset(_several(request, "type", TypeName)), frozenset(_several(request, "tag", TagName)))
    _must_be_known(map(no_such_type, wanted.types), "type")
    _must_be_known(map(no_such_subject, wanted.tags), "tag")
    return wanted


def limit_of(request: Asked) -> int:
    """How many events are asked for; raises InvalidParameter."""
    asked = request.query_params.get("limit", str(LIMIT))
    if not (asked.isascii() and asked.isdigit() and len(asked) < 9 and 1 <= int(asked) <= MOST_LINES):
        raise InvalidParameter(f"limit is a whole number from 1 to {MOST_LINES}.", where="limit")
    return int(asked)


def place_of(value: str | None, name: str) -> Place | None:
    """The place that a parameter or header names; raises InvalidParameter."""
    return None if value is None else read_place(str(_fits(value, Token, name)))


def _several(request: Asked, name: str, kind: Any) -> list[str]:
    """A parameter that may be given several times."""
    values = request.query_params.getall(name, [])
    if len(values) > _SEVERAL:
        raise InvalidParameter(
            f"{name} may be given {_SEVERAL} times. Ask for less, or for all and choose.", where=name
        )
    return [str(_fits(value, kind, name)) for value in values]


def _must_be_known(whys: Iterable[str], name: str) -> None:
    why = next(filter(None, whys), None)
    if why:
        raise InvalidParameter(f"{name} does not fit: {why}.", where=name)


def _fits(value: str, kind: Any, name: str) -> Any:
    try:
        return msgspec.convert(value, kind)
    except msgspec.ValidationError as error:
        raise InvalidParameter(f"{name} does not fit: {plainly(error, kind)[0]}.", where=name) from None
