"""The gate's list over HTTP, followed as it changes; and the gate's page."""

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, Final

from litestar import Litestar, Request, Response, get
from litestar.params import FromPath
from msgspec.structs import replace

from contracts.bench import After
from contracts.clearance import GATE
from contracts.gate import PAGE, GateList
from contracts.problems import NotCaughtUp, PositionAhead, Unavailable
from contracts.words import FieldId
from services.board.gate import Gate
from services.board.live import Board
from services.core.following import PATIENCE
from services.core.heads import patience
from services.core.identity import identified
from services.core.pages import NO_STORE, file_route
from services.core.park import Park
from services.core.reads import fits
from services.core.routes import park_of

FOLDER: Final = Path(__file__).parents[1] / "games" / "gate_page"
PACE: Final = 0.5
"""Seconds between two looks for something newer."""
Key = tuple[str, str]


class Gates:
    """The lists of every gate that asks in this process; whoever has one waits until another says something else."""

    def __init__(self, boards: dict[str, Board]) -> None:
        self._boards = boards
        self._gates: dict[Key, Gate] = {}
        self._made: dict[Key, GateList] = {}
        self._alone: dict[Key, asyncio.Lock] = {}
        self._since: dict[Key, int] = {}
        """From which position on the list has said what it says now."""
        self._closed = False

    def close(self) -> None:
        """The process ends: nobody waits any longer."""
        self._closed = True

    async def newest(self, park: Park, field: str, after: str | None, seconds: float) -> GateList:
        """The list now; where `after` names one that says the same, a later one, or the same again after so many seconds."""
        given_up = time.monotonic() + seconds
        epoch, position = map(int, after.split(":")) if after else (0, 0)
        while True:
            made = await self._list(park, field)
            if epoch == made.epoch and position > made.position:
                raise PositionAhead(
                    f"after={after}, but the log stands at {made.epoch}:{made.position}. Send the epoch and position of a list, or leave it out.",
                    where="after",
                )
            told = epoch == made.epoch and self._since[park.park, field] <= position
            if not told or self._closed or time.monotonic() > given_up:
                return made
            await asyncio.sleep(PACE)

    async def _list(self, park: Park, field: str) -> GateList:
        """Of everything that the log held when it was asked for: a list that is behind would say so of its time as well."""
        if park.log.behind:
            raise Unavailable(park.log.behind)
        key, board = (park.park, field), self._boards[park.park]
        async with self._alone.setdefault(key, asyncio.Lock()):
            head = await park.log.head()
            at_hand = await board.seen(head.position)
            gate = self._gates.get(key) or Gate(park.park, field)
            made = await gate.list(at_hand, head.epoch)
            before = self._made.get(key)
            same = before is not None and replace(before, position=made.position, as_of=made.as_of) == made
            if not same:
                self._since[key] = made.position
            self._gates[key], self._made[key] = gate, made
            return made


@get("/parks/{park:str}/games/gate", opt={"roles": GATE})
async def gate(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[GateList]:
    """Everybody of today for one field's gate; with `after` once it says something else, or after some seconds."""
    where, query = park_of(request, park), request.query_params
    field = fits(query.get("field", ""), FieldId, "field")
    after = fits(query["after"], After, "after") if "after" in query else None
    gates: Gates = request.app.state.gates
    try:
        made = await gates.newest(where, field, after, patience(request, PATIENCE))
    except TimeoutError:
        raise NotCaughtUp("The read tables lack somebody who came today. Ask again shortly.") from None
    await identified(request, where.park, backlog=False)  # the key may have been revoked while he waited
    return Response(made, headers=NO_STORE)


@asynccontextmanager
async def gates(app: Litestar) -> AsyncIterator[None]:
    """Behind the boards: it lives on what they have at hand."""
    app.state.gates = Gates(app.state.boards)
    app.state.leaving.append(app.state.gates.close)
    yield


ROUTES: Final = (
    gate,
    file_route("/parks/{park:str}/games/gate-station", FOLDER / "gate.html", "text/html"),
    *(
        file_route(f"/parks/{{park:str}}/games/gate-station/{name}", FOLDER / name, media)
        for name, media in PAGE.items()
    ),
)
