"""What a request's query may hold: the parameters that its route is documented to take, each once unless it may be given several times.

Anything else is refused: whoever mistypes `after` would be told of everything from the beginning, and take it for what he asked.
"""

from typing import Any, Final

from litestar.connection import ASGIConnection

from contracts.problems import InvalidParameter
from contracts.reads import READS

_READS: Final = {(read.method.upper(), read.path): read for read in READS}
_SHOWN: Final = 40
"""Letters of a name that are said again."""


def must_be_taken(connection: ASGIConnection[Any, Any, Any, Any]) -> None:
    """Raises InvalidParameter at the first parameter that the route does not take, or not so often."""
    method, path = str(connection.scope.get("method")), connection.scope["path_template"]
    if not connection.scope["query_string"]:
        return
    read = _READS.get((method, path))
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


def _all(names: dict[str, Any]) -> str:
    return f"it takes {', '.join(sorted(names))}" if names else "it takes none"
