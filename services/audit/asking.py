"""The routes of any moment, of what if, and of a day replayed. They write nothing."""

from datetime import datetime
from typing import Any, Final

import msgspec
from litestar import Request, get, post
from litestar.params import FromPath

from contracts.envelope import UNREADABLE
from contracts.moments import ClearanceAt, StatusAt
from contracts.problems import InvalidBody, InvalidParameter, MalformedBody
from contracts.what_if import AUDITORS, Otherwise, Replayed, WhatIf
from contracts.words import Day, FieldId, Instant, PlayerId
from services.audit.days import must_be_datable
from services.audit.moments import moment, status
from services.audit.moments.moment import Axes
from services.audit.moments.past import Past
from services.audit.point import position_of
from services.audit.query import asked, fitting
from services.audit.replays import replay as replays
from services.core.log import Log
from services.core.plainly import plainly
from services.core.recent import recent
from services.core.routes import park_of
from services.park.model import must_be_sound

_QUESTION: Final = msgspec.json.Decoder(WhatIf)


@get("/parks/{park:str}/audit/clearance/{player:str}", opt={"roles": AUDITORS})
async def past_clearance(request: Request[Any, Any, Any], park: FromPath[str], player: FromPath[str]) -> ClearanceAt:
    """Was this player cleared for a field at a moment: on what was recorded, and as it happened? With what makes the difference."""
    where, query = park_of(request, park), dict(request.query_params)
    fitting(player, "player", PlayerId)
    field = asked(request, "field", FieldId)
    if field is None:
        raise InvalidParameter("field is missing. Add it to the query: ?field=…", where="field")
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
    return await replays.what_if_at(where.log, _question(await request.body()), where.clock.now())


@get("/parks/{park:str}/audit/replay", opt={"roles": AUDITORS})
async def replay(request: Request[Any, Any, Any], park: FromPath[str]) -> Replayed:
    """Does every decision of a day follow from what was recorded before it? Each is taken anew."""
    where = park_of(request, park)
    day = asked(request, "day", Day)
    must_be_datable(day, "day")
    return await replays.replayed(where.log, day, where.clock.now())


async def axes(log: Log, query: dict[str, Any], now: datetime) -> Axes:
    """The two pasts that a query compares; what is absent follows from what is there, or is now.

    Raises InvalidParameter, or PositionAhead where the log holds no such point.
    """
    happened_at = _instant(query["as_happened"], "as_happened") if "as_happened" in query else None
    if "as_recorded" in query:
        recorded, recorded_at = await _point(log, query["as_recorded"], "as_recorded")
    else:
        recorded_at = happened_at or now
        recorded = await log.position_at(recorded_at)
    known = (await log.head()).position
    if "as_known" in query:
        known, _ = await _point(log, query["as_known"], "as_known")
    happened = Past(log, known, happened_at or recorded_at)
    await happened.open()
    return Axes(Past(log, recorded), recorded_at, happened, happened_at or recorded_at)


async def _point(log: Log, asked: str, name: str) -> tuple[int, datetime]:
    """A point of the log: its position, and its moment."""
    if "-" in asked:
        at = _instant(asked, name)
        return await log.position_at(at), at
    position = await position_of(log, asked, name)
    (row,) = await log.between(position, position)
    return position, recent(row.leaf).recorded_at


def _instant(value: str, name: str) -> datetime:
    """Only digits are no instant here, as they would be to `fitting`."""
    try:
        moment = msgspec.convert(value, Instant)
    except msgspec.ValidationError:
        raise InvalidParameter(
            f"{name}={value[:40]} is no instant with its offset, such as 2026-05-09T13:50:00Z.", where=name
        ) from None
    must_be_datable(moment, name)
    return moment


def _question(body: bytes) -> WhatIf:
    try:
        question = _QUESTION.decode(body)
    except msgspec.ValidationError as error:
        what, where = plainly(error, WhatIf)
        raise InvalidBody(f"{what}. Correct the question and ask again.", where=where) from None
    except UNREADABLE as error:
        raise MalformedBody(f"{error}. Send JSON in UTF-8.") from None
    if not question.void and question.rules is None:
        raise InvalidBody(
            "It leaves nothing out and names no other rules. Name positions in `void`, or `rules`.", where="$"
        )
    if question.rules is not None:
        must_be_sound(question.rules)
    must_be_datable(question.day, "$.day")
    must_be_datable(question.until, "$.until")
    return question


ROUTES: Final = (past_clearance, past_status, what_if, replay)
