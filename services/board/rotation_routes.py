"""The rotation asked for over HTTP, as of everything recorded so far. The planner runs beside the loop, so no hold waits for it."""

import asyncio
from typing import Any, Final

from litestar import Request, Response, get
from litestar.params import FromPath

from contracts.games import STAGING
from contracts.problems import NotCaughtUp
from contracts.rotation_reads import RotationPlan
from services.board.live import Board
from services.board.rotation import rotation
from services.core.pages import NO_STORE
from services.core.routes import park_of


@get("/parks/{park:str}/games/rotation", opt={"roles": STAGING})
async def park_rotation(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[RotationPlan]:
    """Who plays where and when in the next hours, from the plan that was published last. It writes nothing."""
    where = park_of(request, park)
    boards: dict[str, Board] = request.app.state.boards
    head = await where.log.head()
    try:
        at_hand = await boards[where.park].seen(head.position)
    except TimeoutError:
        raise NotCaughtUp("The read tables lack something that was recorded. Ask again shortly.") from None
    made = await asyncio.to_thread(rotation, at_hand.still(), where.park, head.epoch)
    return Response(made, headers=NO_STORE)


ROUTES: Final = (park_rotation,)
"""The routes of the rotation."""
