"""What a request asks for, as its route is documented: whether it is a write, and of its query only the parameters that are named there, each once unless it may be given several times.

Any other is refused: whoever mistypes `after` would be told of everything from the beginning, and take it for what he asked.
"""

from typing import Any, Final

from litestar.connection import ASGIConnection

from contracts.problems import InvalidParameter
from contracts.read import Read
from contracts.reads import READS

_READS: Final = {(read.method.upper(), read.path): read for read in READS}
_SHOWN: Final = 40
"""Letters of a name that are said again."""


def must_be_taken(connection: ASGIConnection[Any, Any, Any, Any]) -> None:
    """Raises InvalidParameter at the first parameter that the route does not take, or not so often."""
    if not connection.scope["query_string"]:
        return
    read = _read_of(connection)
    if read is not None and read.any_query:
        return
    taken = {} if read is None else {one.name: one for one in read.parameters}
    for name, values in connection.query_params.dict().items():
        shown = name[:_SHOWN] or '""'
        if name not in taken:
            raise InvalidParameter(
                f"This takes no parameter {shown}; {_all(taken)}. Correct its name, or leave it out.", where=shown
            )
        if len(values) > 1 and not taken[name].several:
            raise InvalidParameter(
                f"{name} is given {len(values)} times, and is taken once. Leave out the others.", where=name
            )


def writes(connection: ASGIConnection[Any, Any, Any, Any]) -> bool:
    """Whether what is asked would be recorded under the request's own number: a command, or what is keyed like one."""
    read = _read_of(connection)
    return connection.scope.get("method") == "POST" and (read is None or read.keyed)


def _read_of(connection: ASGIConnection[Any, Any, Any, Any]) -> Read | None:
    """The route as it is documented; None for a command."""
    return _READS.get((str(connection.scope.get("method")), connection.scope["path_template"]))


def _all(names: dict[str, Any]) -> str:
    return f"it takes {', '.join(sorted(names))}" if names else "it takes none"
