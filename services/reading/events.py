"""The park's events as lines and as a stream without end."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any, Final

import anyio
from litestar import Litestar, Request, get
from litestar.params import FromPath
from litestar.response import Stream

from contracts.problems import PositionLost
from contracts.read import EVENT_STREAM
from contracts.reading import NDJSON, READERS
from services.core.auth import Device, hash_of
from services.core.pages import NO_STORE
from services.core.park import Park
from services.core.routes import park_of
from services.reading.asking import limit_of, place_of, wanted_by
from services.reading.followers import Follower
from services.reading.following import lines, stream
from services.reading.places import Place
from services.reading.tail import Tail

_UNBUFFERED: Final = NO_STORE | {"X-Accel-Buffering": "no", "Vary": "Accept-Encoding"}


def tail_of(request: Request[Any, Any, Any], park: Park) -> Tail:
    tails: dict[str, Tail] = request.app.state.tails
    return tails[park.park]


def reader_of(request: Request[Any, Any, Any]) -> Follower:
    """Who asks, as of now: nothing may be waited for between the look at the key and this."""
    device: Device = request.state.device
    return Follower(device.id, hash_of(request.headers.get("authorization")))


@get("/parks/{park:str}/events", opt={"roles": READERS})
async def events(request: Request[Any, Any, Any], park: FromPath[str]) -> Stream:
    """The events behind a position, a line each, and a last line that says how far was read. Raises PositionAhead or PositionLost."""
    where, reader = park_of(request, park), reader_of(request)
    tail, wanted, limit = tail_of(request, where), wanted_by(request), limit_of(request)
    after = place_of(request.query_params.get("after"), "after") or Place(0, 0)
    common = await tail.places.common(after, "after")
    if common != after:
        raise PositionLost(
            f"A restore has cut off what lay behind {common.position}: you have read {after.position - common.position} events that this log lacks. "
            f"Read on with after={common}; what was recorded anew comes from there.",
            where="after",
            resume=str(common),
        )
    return Stream(lines(tail, reader, after, wanted, limit), media_type=NDJSON, headers=NO_STORE)


@get("/parks/{park:str}/events/stream", opt={"roles": READERS})
async def events_stream(request: Request[Any, Any, Any], park: FromPath[str]) -> Stream:
    """The events as server-sent events, from the Last-Event-ID or `after`, or from now on. Raises PositionAhead or TooManyStreams."""
    where, reader = park_of(request, park), reader_of(request)
    tail, wanted = tail_of(request, where), wanted_by(request)
    place = place_of(request.headers.get("last-event-id"), "Last-Event-ID")
    place = place or place_of(request.query_params.get("after"), "after")
    if place is None:
        head = await where.log.head()
        place = Place(head.epoch, head.position)
    await tail.places.common(place, "after")
    squeeze = "gzip" in request.headers.get("accept-encoding", "")
    tail.followers.admit(reader)
    frames = stream(tail, reader, place, wanted, squeeze=squeeze)
    return Stream(
        frames, media_type=EVENT_STREAM, headers=_UNBUFFERED | ({"Content-Encoding": "gzip"} if squeeze else {})
    )


@asynccontextmanager
async def tails(app: Litestar) -> AsyncIterator[None]:
    """A tail for every park, at work while somebody follows it."""
    state = app.state
    state.tails = {name: Tail(park.log, state.pool, state.streams_per_key) for name, park in state.parks.items()}
    async with anyio.create_task_group() as tasks:
        for name, tail in state.tails.items():
            state.projectors[name].hear(tail.hear)
            tasks.start_soon(tail.run)
            tasks.start_soon(tail.followers.run)
            state.leaving.append(tail.followers.close)
        yield
        tasks.cancel_scope.cancel()
