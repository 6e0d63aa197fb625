"""The check of a log: every row of it against the leaf bytes, and the leaves against what was signed. Pure, and in one pass."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Literal, cast

from msgspec import Struct

from contracts.envelope import Recorded, Unknown
from contracts.evidence import EpochBegun, KeyAdopted
from contracts.leaf import LeafError, decode, leaf_hash
from services.evidence.columns import EventRow, TagRow, columns, index
from services.evidence.finding import Finding, Kind, on
from services.evidence.levels import levels
from services.evidence.requests import RequestRow, Requests
from services.evidence.roots import TILE, Roots, Signed
from services.evidence.tree import SIZE

_KINDS: dict[str, Kind] = {"event": "head", "index entry": "tag", "request": "request", "stored hash": "truncated"}


class HeadRow(Struct, frozen=True):
    """A row of log.park_head."""

    epoch: int
    position: int
    recorded_at: datetime


class Batch(Struct, frozen=True):
    """What the database holds for the positions `first` to `last`: whole tiles of them, unless it is the last batch.

    `requests` begin there; `tiles` are those over these positions, at every level, by (level, index).
    """

    first: int
    last: int
    events: Sequence[EventRow]
    tags: Sequence[TagRow]
    requests: Sequence[RequestRow]
    tiles: Mapping[tuple[int, int], bytes]


class Astray(Struct, frozen=True):
    """A row that lies outside the log's positions, or an id that a later event has too."""

    what: Literal["event", "index entry", "request", "stored hash", "id"]
    position: int
    detail: str


class Check:
    """Follows a park's log in batches, from position 1 up to the head. What it keeps does not grow with the log."""

    def __init__(self, park: str, signed: Sequence[Signed]) -> None:
        self.roots = Roots(signed)
        self.requests = Requests()
        self.opaque = 0
        """Events whose data only a newer version can read: where a story begins anew there cannot be held against it."""
        self.adopted: list[Recorded[KeyAdopted]] = []
        """Where the log says that a key was adopted."""
        self.begun: list[int] = []
        """Where the log says that an epoch began after a restore."""
        self._park = park
        self._last: Recorded[Any] | None = None

    def take(self, batch: Batch) -> Iterator[Finding]:
        """The next batch."""
        events = _by_position(batch.events)
        tags = _by_position(batch.tags)
        requests = defaultdict(list)
        for request in batch.requests:
            requests[request.first].append(request)
        for position in range(batch.first, batch.last + 1):
            yield from self._position(position, events[position], tags[position], requests[position], batch.tiles)
        yield from levels(batch.tiles, batch.first - 1, batch.last)

    def _position(
        self,
        position: int,
        rows: Sequence[EventRow],
        tags: Sequence[TagRow],
        requests: Sequence[RequestRow],
        tiles: Mapping[tuple[int, int], bytes],
    ) -> Iterator[Finding]:
        stored = _stored(position, tiles)
        if not rows:
            yield Finding("missing", position, f"Position {position}: there is no event here. It was taken out.")
            yield from self.requests.take(position, None, requests)
            yield from self.roots.take(None, stored)
            return
        if len(rows) > 1:
            yield Finding("repeated", position, f"Position {position}: there are {len(rows)} events here.")
        row = rows[0]
        yield from self._event(row, tags)
        yield from self.requests.take(position, (row.id, row.device), requests)
        yield from self.roots.take(leaf_hash(row.leaf), stored)

    def _event(self, row: EventRow, tags: Sequence[TagRow]) -> Iterator[Finding]:
        try:
            event = decode(row.leaf)
        except LeafError as error:
            sentence = f"Position {row.position}: the recorded bytes cannot be read as an event: {error}."
            yield Finding("unreadable", row.position, sentence)
            return
        yield from columns(row, event)
        yield from index(row.position, event, tags)
        yield from self._order(row.position, event)
        self.opaque += isinstance(event.data, Unknown)
        if isinstance(event.data, KeyAdopted):
            self.adopted.append(cast("Recorded[KeyAdopted]", event))

    def _order(self, position: int, event: Recorded[Any]) -> Iterator[Finding]:
        last, self._last = self._last, event
        epoch = 1 if last is None else last.epoch
        if event.epoch > epoch:
            if isinstance(event.data, EpochBegun) and event.data.epoch == event.epoch:
                self.begun.append(position)
                self.roots.begin(event.epoch, event.data.lost_first)
            else:
                what = f"epoch {event.epoch} begins here, but no event says so and what was lost before"
                yield Finding("order", position, f"Position {position}: {what}.")
        if last is None:
            return
        if event.recorded_at < last.recorded_at:
            what = f"it was recorded at {on(event.recorded_at)}, before the event that stands in front of it"
            yield Finding("order", position, f"Position {position}: {what} ({on(last.recorded_at)}).")
        if event.epoch < last.epoch:
            what = f"it is of epoch {event.epoch}, the event in front of it of epoch {last.epoch}"
            yield Finding("order", position, f"Position {position}: {what}.")

    def end(self, head: HeadRow, astray: Iterable[Astray]) -> Iterator[Finding]:
        """After the last position: where the log says that it ends, and what the database holds beside it."""
        yield from self.requests.end(head.position)
        yield from self.roots.end()
        last = self._last
        if last is not None and last.position == head.position:
            for name in ("epoch", "recorded_at"):
                there, recorded = getattr(head, name), getattr(last, name)
                if there != recorded:
                    what = f"the log's head says {name} {there}, its last event says {recorded}"
                    yield Finding("head", head.position, f"Position {head.position}: {what}.")
        for one in astray:
            yield _astray(one, head.position)


def _astray(one: Astray, head: int) -> Finding:
    if one.what == "id":
        return Finding("repeated", one.position, f"Position {one.position}: {one.detail}.")
    what = f"there is {'an' if one.what[0] in 'ei' else 'a'} {one.what} of this position ({one.detail})"
    return Finding(_KINDS[one.what], one.position, f"Position {one.position}: {what}, but the log ends at {head}.")


def _stored(position: int, tiles: Mapping[tuple[int, int], bytes]) -> bytes | None:
    tile, at = divmod(position - 1, TILE)
    return tiles.get((0, tile), b"")[at * SIZE : (at + 1) * SIZE] or None


def _by_position(rows: Iterable[Any]) -> defaultdict[int, list[Any]]:
    found = defaultdict[int, list[Any]](list)
    for row in rows:
        found[row.position].append(row)
    return found
