"""The requests of a log, held against its events: each event lies in exactly one request, which bears the id of its first."""

from collections.abc import Iterable, Iterator
from uuid import UUID

from msgspec import Struct

from services.evidence.finding import Finding


class RequestRow(Struct, frozen=True):
    """A row of log.request, without the digest of what was sent: that is not kept, so it cannot be held against anything."""

    id: UUID
    device: str
    first: int
    last: int


class Requests:
    """Follows the log, position by position."""

    def __init__(self) -> None:
        self._current: RequestRow | None = None

    def take(self, position: int, named: tuple[UUID, str] | None, beginning: Iterable[RequestRow]) -> Iterator[Finding]:
        """The next position, the id and device of its event where there is one, and the requests that begin there."""
        for row in beginning:
            if self._current is not None and position <= self._current.last:
                what = f"belongs to two requests, {self._current.id} and {row.id}"
                yield _request(position, what)
            self._current = row
            if named is not None and row.id != named[0]:
                yield _request(position, f"the request that begins here is {row.id}, its first event is {named[0]}")
        if self._current is None or position > self._current.last:
            yield _request(position, "belongs to no request: nothing says what was asked for")
        elif named is not None and self._current.device != named[1]:
            yield _request(position, f"the request is of device {self._current.device}, the event of device {named[1]}")

    def end(self, head: int) -> Iterator[Finding]:
        """After the last position."""
        if self._current is not None and self._current.last > head:
            what = (
                f"request {self._current.id} recorded up to position {self._current.last}, but the log ends at {head}"
            )
            yield _request(self._current.first, what)


def _request(position: int, what: str) -> Finding:
    return Finding("request", position, f"Position {position}: {what}.")
