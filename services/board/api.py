"""What anybody may see of a park: its live status as JSON, as a stream of events, and as a page for a wall; and for staff the roll-call. They name nobody."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, Final

import anyio
from litestar import Litestar, Request, Response, get
from litestar.params import FromPath
from litestar.response import Stream

from contracts.board import PAGE, Status
from contracts.clearance import GATE
from contracts.games import FIELD_AND_STAGING
from contracts.problems import NotCaughtUp, TooManyStreams
from contracts.roll_call import ROLL_CALL_PAGE, RollCall
from contracts.staging import STAGING_PAGE, Staging
from contracts.waits import Waits
from services.board import evening, gate_routes, rotation_routes
from services.board.live import Board
from services.board.notes import NOTES
from services.clearance.api import PROJECTION as CLEARANCE
from services.core.pages import GUARDED, NO_STORE, file_route
from services.core.reads import at_least
from services.core.routes import park_of
from services.core.service import Service

MOST_STREAMS: Final = 1000
"""Of one board in one process: anybody may open one without a key, and what a system lets a process hold open is for those who record, first of all."""
FOLDER: Final = Path(__file__).with_name("page")
ROLL_CALL_FOLDER: Final = Path(__file__).with_name("roll_call_page")
STAGING_FOLDER: Final = Path(__file__).with_name("staging_page")


def board_of(request: Request[Any, Any, Any], park: FromPath[str]) -> Board:
    """The board of a path's park; raises NotFound."""
    boards: dict[str, Board] = request.app.state.boards
    return boards[park_of(request, park).park]


@get("/parks/{park:str}/board.json", opt={"public": True})
async def board_json(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[Status]:
    """The park's live status."""
    board = board_of(request, park)
    for name in (CLEARANCE.name, NOTES.name):
        await at_least(request, park_of(request, park), name)
    position = int(request.query_params.get("at_least", "0").rpartition(":")[2])
    try:
        return Response(await board.reached(position), headers=NO_STORE)
    except TimeoutError:
        raise NotCaughtUp(f"The board has not come to position {position} yet. Ask again shortly.") from None


@get("/parks/{park:str}/games/roll-call", opt={"roles": GATE})
async def roll_call(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[RollCall]:
    """Say who is on which field, who is elsewhere in the park, and who came off since play was stopped."""
    try:
        return Response(await board_of(request, park).roll_call(), headers=NO_STORE)
    except TimeoutError:
        raise NotCaughtUp("The read tables lack somebody who came today. Ask again shortly, and count heads.") from None


@get("/parks/{park:str}/waits", opt={"public": True})
async def park_waits(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[Waits]:
    """How long one waits at each station, and when each group plays."""
    board = board_of(request, park)
    for name in (CLEARANCE.name, NOTES.name):
        await at_least(request, park_of(request, park), name)
    position = int(request.query_params.get("at_least", "0").rpartition(":")[2])
    try:
        return Response(await board.waits(position), headers=NO_STORE)
    except TimeoutError:
        raise NotCaughtUp("The board lacks something that was recorded. Ask again shortly.") from None


@get("/parks/{park:str}/games/at-staging", opt={"roles": FIELD_AND_STAGING})
async def who_is_at_staging(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[Staging]:
    """Who is in the park and on no field: who is cleared, and why each of the others is not."""
    board = board_of(request, park)
    for name in (CLEARANCE.name, NOTES.name):
        await at_least(request, park_of(request, park), name)
    position = int(request.query_params.get("at_least", "0").rpartition(":")[2])
    try:
        return Response(await board.at_staging(position), headers=NO_STORE)
    except TimeoutError:
        raise NotCaughtUp("The board lacks something that was recorded. Ask again shortly.") from None


@get("/parks/{park:str}/board/stream", opt={"public": True})
async def board_stream(request: Request[Any, Any, Any], park: FromPath[str]) -> Stream:
    """The live status as server-sent events: `snapshot`, then `patch` (RFC 7396 against the status before), and a `beat` every 5 s.

    Every id names one status: a reader that sends it as Last-Event-ID gets what came after, or a snapshot where that is forgotten.
    """
    board = board_of(request, park)
    if board.channel.readers >= MOST_STREAMS:
        raise TooManyStreams(
            f"{MOST_STREAMS} screens follow this board already. Close one, and try again shortly.", retry_after=5
        )
    frames = board.channel.follow(request.headers.get("last-event-id"), board.beat)
    return Stream(frames, media_type="text/event-stream", headers=NO_STORE | {"X-Accel-Buffering": "no"})


@get("/", opt={"public": True})
async def home(request: Request[Any, Any, Any]) -> Response[bytes]:
    """To the board of the only park; where there are several, a list of them."""
    parks = sorted(request.app.state.boards)
    if len(parks) == 1:
        there = NO_STORE | {"Location": f"/parks/{parks[0]}/board"}
        return Response(b"", status_code=303, media_type="text/html", headers=there)
    links = "".join(f'<li><a href="/parks/{park}/board">{park}</a></li>' for park in parks)
    page = f'<!doctype html><html lang="en"><title>Boards</title><h1>Boards</h1><ul>{links}</ul></html>'
    return Response(page.encode(), media_type="text/html", headers=GUARDED)


@asynccontextmanager
async def boards(app: Litestar) -> AsyncIterator[None]:
    """A board for every park, at work while the application is."""
    state = app.state
    state.boards = {name: Board(park, state.pool, state.projectors[name]) for name, park in state.parks.items()}
    async with anyio.create_task_group() as tasks:
        for board in state.boards.values():
            tasks.start_soon(board.run)
            state.leaving.append(board.channel.close)
        yield
        tasks.cancel_scope.cancel()


FILES: Final = (
    file_route("/parks/{park:str}/roll-call", ROLL_CALL_FOLDER / "roll-call.html", "text/html"),
    *(
        file_route(f"/parks/{{park:str}}/roll-call/{name}", ROLL_CALL_FOLDER / name, media)
        for name, media in ROLL_CALL_PAGE.items()
    ),
    file_route("/parks/{park:str}/games/staging", STAGING_FOLDER / "staging.html", "text/html"),
    *(
        file_route(f"/parks/{{park:str}}/games/staging/{name}", STAGING_FOLDER / name, media)
        for name, media in STAGING_PAGE.items()
    ),
    file_route("/parks/{park:str}/board", FOLDER / "board.html", "text/html"),
    *(file_route(f"/parks/{{park:str}}/board/{name}", FOLDER / name, media) for name, media in PAGE.items()),
)
SERVICE = Service(
    "board",
    (),
    (
        board_json,
        board_stream,
        roll_call,
        who_is_at_staging,
        park_waits,
        *evening.ROUTES,
        *rotation_routes.ROUTES,
        *gate_routes.ROUTES,
        home,
        *FILES,
    ),
    (boards, gate_routes.gates),
    (evening.TOLD_LATE,),
)
