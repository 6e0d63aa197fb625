"""The parameters of a question, each checked against its own type."""

from typing import Any

import msgspec
from litestar import Request

from contracts.problems import InvalidParameter
from services.core.plainly import plainly


def asked(request: Request[Any, Any, Any], name: str, kind: Any) -> Any:
    """A parameter of the query, None where it is absent; raises InvalidParameter where it does not fit."""
    value = request.query_params.get(name)
    return None if value is None else fitting(value, name, kind)


def fitting(value: str, name: str, kind: Any) -> Any:
    """A value as its type; raises InvalidParameter where it does not fit."""
    try:
        return msgspec.convert(value, kind, strict=False)
    except msgspec.ValidationError as error:
        raise InvalidParameter(f"{name} does not fit: {plainly(error, kind)[0]}.", where=name) from None
