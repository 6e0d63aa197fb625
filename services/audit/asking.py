"""The routes of any moment, of what if, and of a day replayed. They write nothing."""

from datetime import date, datetime
from typing import Any, Final

import msgspec
from litestar import Request, get, post
from litestar.params import FromPath

from contracts.moments import ClearanceAt, Point, StatusAt
from contracts.problems import InvalidBody, InvalidParameter, MalformedBody, PositionAhead
from contracts.what_if import AUDITORS, Otherwise, Replayed, WhatIf
from contracts.words import Day, FieldId, Instant, PlayerId
from services.audit import moment, replays, status
from services.audit.moment import Axes
from services.audit.past import Past
from services.core.log import Log
from services.core.park import Park
from services.core.plainly import plainly
from services.core.recent import recent
from services.core.routes import park_of

_QUESTION: Final = msgspec.json.Decoder(WhatIf)


@get("/parks/{park:str}/audit/clearance/{player:str}", opt={"roles": AUDITORS})
async def past_clearance(request: Request[Any, Any, Any], park: FromPath[str], player: FromPath[str]) -> ClearanceAt:
    """Was this player cleared for a field at a moment: on what was recorded, and as it happened? With what makes the difference."""
    where, query = park_of(request, park), dict(request.query_params)
    player = fits(player, PlayerId, "player")
    if "field" not in query:
        raise InvalidParameter("field is missing. Add it to the query: ?field=…", where="field")
    field = fits(query["field"], FieldId, "field")
    return await moment.clearance_at(await axes(where.log, query, where.clock.now()), where.park, player, field)


@get("/parks/{park:str}/audit/status", opt={"roles": AUDITORS})
async def past_status(request: Request[Any, Any, Any], park: FromPath[str]) -> StatusAt:
    """The park's live status at a moment: on what was recorded, and as it happened."""
    where = park_of(request, park)
    epoch = (await where.log.head()).epoch
    return await status.status_at(
        await axes(where.log, dict(request.query_params), where.clock.now()), where.log, epoch
    )


@post("/parks/{park:str}/audit/what-if", opt={"roles": AUDITORS}, status_code=200)
async def what_if(request: Request[Any, Any, Any], park: FromPath[str]) -> Otherwise:
    """What would have been decided otherwise without these events, or under other rules? It writes nothing."""
    where = park_of(request, park)
    asked = _question(await request.body())
    return await replays.what_if_at(where.log, asked, where.clock.now())


@get("/parks/{park:str}/audit/replay", opt={"roles": AUDITORS})
async def replay(request: Request[Any, Any, Any], park: FromPath[str]) -> Replayed:
    """Does every decision of a day follow from what was recorded before it? Each is taken anew."""
    where: Park = park_of(request, park)
    asked = request.query_params.get("day")
    day: date | None = None if asked is None else fits(asked, Day, "day")
    return await replays.replayed(where.log, day, where.clock.now())


async def axes(log: Log, query: dict[str, Any], now: datetime) -> Axes:
    """The two pasts that a query compares; what is absent follows from what is there, or is now. Raises PositionAhead."""
    happened_at: datetime | None = (
        fits(query["as_happened"], Instant, "as_happened") if "as_happened" in query else None
    )
    point = fits(query["as_recorded"], Point, "as_recorded") if "as_recorded" in query else None
    recorded, recorded_at = await _point(log, point, "as_recorded", happened_at or now)
    known = (await log.head()).position
    if "as_known" in query:
        known, _ = await _point(log, fits(query["as_known"], Point, "as_known"), "as_known", now)
    happened = Past(log, known, happened_at or recorded_at)
    await happened.open()
    return Axes(Past(log, recorded), recorded_at, happened, happened_at or recorded_at)


async def _point(log: Log, asked: str | None, name: str, default: datetime) -> tuple[int, datetime]:
    """A point of the log: its position, and its moment."""
    if asked is None or "T" in asked:
        at: datetime = default if asked is None else fits(asked, Instant, name)
        return await log.position_at(at), at
    epoch, _, position = asked.partition(":")
    head = await log.head()
    rows = await log.between(int(position), int(position)) if 0 < int(position) <= head.position else []
    event = recent(rows[0].leaf) if rows else None
    if event is None or event.epoch != int(epoch):
        raise PositionAhead(
            f"{name}={asked}, but the log stands at {head.epoch}:{head.position} and holds no such position in that epoch.",
            where=name,
        )
    return event.position, event.recorded_at


def fits(value: str, kind: Any, name: str) -> Any:
    """A parameter's value; raises InvalidParameter."""
    try:
        return msgspec.convert(value, kind)
    except msgspec.ValidationError as error:
        raise InvalidParameter(f"{name} does not fit: {plainly(error, kind)[0]}.", where=name) from None


def _question(body: bytes) -> WhatIf:
    try:
        asked = _QUESTION.decode(body)
    except msgspec.ValidationError as error:
        what, where = plainly(error, WhatIf)
        raise InvalidBody(f"{what}. Correct the question and ask again.", where=where) from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise MalformedBody(f"{error}. Send JSON in UTF-8.") from None
    if not asked.void and asked.rules is None:
        raise InvalidBody(
            "It leaves nothing out and names no other rules. Name positions in `void`, or `rules`.", where="$"
        )
    return asked


ROUTES: Final = (past_clearance, past_status, what_if, replay)
