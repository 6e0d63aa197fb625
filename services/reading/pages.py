"""A page of the log as readers get it: made once, sent to any number of them.

A line is the leaf in another frame: place and hash, then the event's own bytes as they were recorded. Nothing is decoded to make it.
"""

import zlib
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Final, Literal

import msgspec
from msgspec import Struct

from contracts.leaf import epoch_of, leaf_hash
from services.core.log import Row
from services.reading.wanted import Wanted

Form = Literal["lines", "stream", "squeezed"]
"""NDJSON; server-sent events; these in deflate (RFC 1951), each page by itself, so that one page serves every reader."""
GZIP: Final = b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\xff"
"""The header of a gzip file (RFC 1952), after which squeezed pages follow each other without end."""
_FORMS_KEPT = 8
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class _Head(Struct):
    type: str
    tags: tuple[str, ...]


_head = msgspec.json.Decoder(_Head).decode


def line(leaf: bytes) -> bytes:
    """An event as a JSON object on one line."""
    _, park, epoch, position, micros, body = leaf.split(b"\n", 5)
    recorded = _EPOCH + timedelta(microseconds=int(micros))
    place = b'{"park":"%s","epoch":%s,"position":%s,"recorded_at":"%s","leaf_sha256":"%s",' % (
        park, epoch, position, recorded.isoformat().replace("+00:00", "Z").encode(), leaf_hash(leaf).hex().encode(),
    )  # fmt: skip
    return place + body[1:]


def squeezed(content: bytes) -> bytes:
    """Deflate, ended so that what is squeezed next can follow whatever it is."""
    squeezer = zlib.compressobj(1, zlib.DEFLATED, -zlib.MAX_WBITS)
    return squeezer.compress(content) + squeezer.flush(zlib.Z_FULL_FLUSH)


class Page:
    """Some events that follow each other in the log."""

    def __init__(self, rows: Sequence[Row]) -> None:
        self.first, self.last = rows[0].position, rows[-1].position
        self.leaves = [row.leaf for row in rows]
        self.lines = [line(row.leaf) for row in rows]
        self.epoch = epoch_of(rows[-1].leaf)
        self.size = sum(map(len, self.lines))
        self._kept: dict[tuple[Wanted, Form], bytes] = {}

    @cached_property
    def _heads(self) -> list[_Head]:
        return [_head(leaf.split(b"\n", 5)[5]) for leaf in self.leaves]

    def positions(self, wanted: Wanted, after: int = 0) -> Iterator[int]:
        """Where the wanted events behind a position stand."""
        for position in range(max(self.first, after + 1), self.last + 1):
            head = None if wanted.everything else self._heads[position - self.first]
            if head is None or wanted.fits(head.type, head.tags):
                yield position

    def epoch_at(self, position: int) -> int:
        return epoch_of(self.leaves[position - self.first])

    def line(self, position: int) -> bytes:
        return self.lines[position - self.first]

    def shown(self, wanted: Wanted, form: Form, after: int) -> bytes:
        """The wanted events behind a position; empty where there are none. A whole page is made once for all who want the same."""
        if after >= self.first:
            return self._made(wanted, form, after)
        kept = self._kept.get((wanted, form))
        if kept is None:
            kept = self._made(wanted, form, 0)
            if len(self._kept) < _FORMS_KEPT:
                self._kept[wanted, form] = kept
        return kept

    def _made(self, wanted: Wanted, form: Form, after: int) -> bytes:
        if form == "lines":
            return b"".join(b"%s\n" % self.line(position) for position in self.positions(wanted, after))
        told = b"".join(
            b"id: %d:%d\ndata: %s\n\n" % (self.epoch_at(position), position, self.line(position))
            for position in self.positions(wanted, after)
        )
        return squeezed(told) if told and form == "squeezed" else told
