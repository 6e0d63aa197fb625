"""Headers of which a request bears one at most. Where there are two nobody knows which counts, so neither does."""

from typing import Final

from litestar.datastructures import Headers

from contracts.problems import InvalidParameter

SINGLE: Final = ("Content-Type", "Device-Time", "Device-Seq", "Actor", "Last-Event-ID")
"""Those that are read on any route, but for the Authorization and the Idempotency-Key, which are looked at where they are read. Device-Version is shown and no more: what is wrong with it keeps nobody from recording."""


def must_be_single(headers: Headers, *names: str) -> None:
    """Raises InvalidParameter at the first of these that is given twice."""
    for name in names:
        if many := several(headers, name):
            raise InvalidParameter(many, where=name)


def several(headers: Headers, name: str) -> str:
    """The sentence that says that a header is given more than once; empty where it is not."""
    count = len(headers.getall(name, []))
    return f"There are {count} headers {name}, and nobody knows which counts. Send one." if count > 1 else ""


def single(headers: Headers, name: str) -> str | None:
    """What the one header of this name says; None where there is none, or more than one."""
    values = headers.getall(name, [])
    return values[0] if len(values) == 1 else None
