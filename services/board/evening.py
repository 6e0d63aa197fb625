"""The last look before a day is closed, and closing it: the event says how many had not left by then."""

from typing import Any

from litestar import Request, Response, get
from litestar.params import FromPath

from contracts.clearance import GATE
from contracts.closing import Closing
from contracts.park import CloseDay
from contracts.problems import NotCaughtUp
from services.board.closing import closing, from_the_log, still_here
from services.board.live import Board
from services.clearance.asking import moment_of
from services.core.command import Handler
from services.core.pages import NO_STORE
from services.core.park import Answer, Park
from services.core.routes import asked, park_of, write_route
from services.core.rules import RULES, operating_day
from services.park import model


@get("/parks/{park:str}/closing", opt={"roles": GATE})
async def day_closing(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[Closing]:
    """Who has not left, uncollected minors first; gear out, searches, holds, incidents and checks that are open."""
    where = park_of(request, park)
    now = where.clock.now()
    log, read = await where.load(lambda given: from_the_log(operating_day(given.of(RULES, "").rules, now)))
    moment = moment_of(where, log, max(read.values()))
    try:
        head = await where.log.head()
        at_hand = await _board(request, where).seen(head.position)
    except TimeoutError:
        raise NotCaughtUp(
            "The read tables lack something that was recorded, so nobody can say that all have left. Ask again shortly."
        ) from None
    return Response(closing(at_hand, log, moment, where.park, head.epoch), headers=NO_STORE)


async def close(request: Request[Any, Any, Any], park: Park, command: CloseDay, digest: bytes) -> Answer:
    """Count who is still here as of the log's end; where that cannot be told in time, the day is closed without the number."""
    here = await _here(request, park, command)
    handler = Handler(CloseDay, lambda _c, _g: (), lambda asked_for, _g, _m: model.close_day(asked_for, here))
    return await park.execute(handler, command, asked(request, park, digest))


async def _here(request: Request[Any, Any, Any], park: Park, command: CloseDay) -> tuple[int, int] | None:
    try:
        at_hand = await _board(request, park).seen((await park.log.head()).position)
    except TimeoutError:
        return None
    if at_hand.moment.day != command.closed:
        return None
    here = still_here(at_hand)
    return len(here), sum(one.minor for one in here)


TOLD_LATE = Handler(CloseDay, lambda _c, _g: (), lambda told, _g, _m: model.close_day(told, None))
"""In a batch the closing comes later than it was: nobody can say any more how many were still here."""


def _board(request: Request[Any, Any, Any], park: Park) -> Board:
    boards: dict[str, Board] = request.app.state.boards
    return boards[park.park]


ROUTES = (day_closing, write_route(CloseDay, close))
