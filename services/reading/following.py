"""One reader's stream of server-sent events, and one answer of lines. Nothing in here has to be awaited to end it, so a cancelled reader leaves nothing behind."""

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import suppress
from itertools import islice
from typing import Any, Final

import msgspec

from services.core.pool import LOST
from services.reading.followers import Follower
from services.reading.pages import GZIP, Form, squeezed
from services.reading.places import Place
from services.reading.tail import PACE, Tail
from services.reading.wanted import Wanted

BEAT: Final = 5.0
"""Seconds between two beats."""
PIECE: Final = 65_536
"""Bytes that are handed to a connection at once: so much, and what the system buffers, is all that a reader who does not read holds."""
LOOKED_THROUGH: Final = 200
"""Pages that one answer of lines looks through at most; its end says how far it came."""
_HELLO: Final = b"retry: 2000\n\n"
_UNREAD: Final = b": the record cannot be read\n\n"


def frame(event: str, place: Place, data: dict[str, Any]) -> bytes:
    return f"event: {event}\nid: {place}\ndata: ".encode() + msgspec.json.encode(data) + b"\n\n"


async def stream(tail: Tail, reader: Follower, place: Place, wanted: Wanted, *, squeeze: bool) -> AsyncIterator[bytes]:
    """What lies behind a place and is wanted, for ever; ends when the reader's key does."""
    form: Form = "squeezed" if squeeze else "stream"
    made = squeezed if squeeze else bytes
    if squeeze:
        yield GZIP
    yield made(_HELLO)
    life = place.epoch
    with tail.following(reader):
        due = time.monotonic() + PACE
        while not reader.gone:
            moved, page = tail.moved, None
            try:
                if tail.epoch > life:
                    place, told = await _next_life(tail, place)
                    life = place.epoch
                    yield made(told)
                if tail.epoch == life and reader.known:
                    page = await tail.behind(place.position)
            except LOST:
                await asyncio.sleep(PACE)
            if page is not None:
                for piece in pieces(page.shown(wanted, form, place.position)):
                    if not await tail.followers.may_hear(reader):
                        return
                    yield piece
                place = Place(life, page.last)
                continue
            if time.monotonic() >= due:
                yield made(frame("beat", place, {"epoch": life, "position": place.position}) if tail.fresh else _UNREAD)
                due = time.monotonic() + BEAT
            with suppress(TimeoutError):
                async with asyncio.timeout(max(0.0, due - time.monotonic())):
                    await moved.wait()


async def _next_life(tail: Tail, place: Place) -> tuple[Place, bytes]:
    """The place in the log's present life from which a reader goes on, and how he is told."""
    epoch = tail.epoch
    common = await tail.places.common(place, "after")
    here = Place(epoch, common.position)
    lost = place.position - common.position
    return here, frame("epoch", here, {"epoch": epoch, "was": str(place), "common": common.position, "lost": lost})


def pieces(content: bytes) -> list[bytes]:
    if len(content) <= PIECE:
        return [content] if content else []
    return [content[start : start + PIECE] for start in range(0, len(content), PIECE)]


async def lines(tail: Tail, reader: Follower, place: Place, wanted: Wanted, limit: int) -> AsyncIterator[bytes]:
    """What lies behind a place and is wanted, up to the end of the log, a number of events or of pages; then a line that says how far was read.

    Cut off, without that line, when the reader's key ends: who reads slowly may be at it for long.
    """
    more, looked = limit, 0
    with tail.followers.following(reader):
        while more and looked < LOOKED_THROUGH and (page := await tail.shelf.after(place.position)) is not None:
            found = list(islice(page.positions(wanted, place.position), more))
            for piece in pieces(b"".join(b"%s\n" % page.line(position) for position in found)):
                if not await tail.followers.may_hear(reader):
                    return
                yield piece
            more -= len(found)
            looked += 1
            place = Place(page.epoch, page.last if more else found[-1])
    end = {"end": True, "epoch": place.epoch, "position": place.position, "more": not more or looked >= LOOKED_THROUGH}
    yield msgspec.json.encode(end) + b"\n"
