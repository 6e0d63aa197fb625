"""Passes over HTTP: the park's public keys, one pass as a picture, a sheet to print; and the keyrings of the process."""

import asyncio
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from datetime import date
from pathlib import Path
from typing import Any, Final

import structlog
from litestar import Litestar, Request, Response, get
from litestar.params import FromPath

from contracts.clearance import Names
from contracts.desk import PAGE
from contracts.passes import PassKeys
from contracts.problems import NotInThatState, RuleForbids, Unavailable
from contracts.registration import DESK
from contracts.words import PlayerId
from services.core.fold import Given
from services.core.pages import GUARDED, NO_STORE, file_route
from services.core.park import Park
from services.core.reads import fits
from services.core.routes import park_of
from services.core.rules import RULES, operating_day
from services.registration.known import known_player
from services.registration.passes.keyring import Keyring
from services.registration.passes.printing import Printed, sheet, svg
from services.registration.states import PLAYER

log = structlog.get_logger()
FOLDER: Final = Path(__file__).parents[1] / "desk_page"


@asynccontextmanager
async def keyrings(app: Litestar) -> AsyncIterator[None]:
    """A keyring for each park, its first key made at the start; one that cannot be used says so, and the park plays on without it."""
    app.state.passes = {name: Keyring(app.state.outside, name) for name in app.state.parks}
    for name, ring in app.state.passes.items():
        try:
            ring.open()
        except Unavailable as unusable:
            log.warning("pass keys unusable", park=name, why=unusable.detail)
    yield


def rings_of(request: Request[Any, Any, Any]) -> Mapping[str, Keyring]:
    """The keyrings of every park of this process, by name."""
    rings: Mapping[str, Keyring] = request.app.state.passes
    return rings


@get("/parks/{park:str}/passes/keys", opt={"public": True})
async def pass_keys(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[PassKeys]:
    """The public keys that verify this park's day passes, the one in use last."""
    where = park_of(request, park)
    given, _ = await where.load(lambda _: ())
    keys = rings_of(request)[where.park].public()
    return Response(PassKeys(park=where.park, day=_today(where, given), keys=keys), headers=NO_STORE)


@get("/parks/{park:str}/registration/pass.svg", opt={"roles": DESK})
async def pass_picture(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[bytes]:
    """The code of a player's day pass as it is now, as a picture."""
    where = park_of(request, park)
    _, (printed,) = await _printed(request, where, (fits(_asked(request, "player"), PlayerId, "player"),))
    picture = await asyncio.to_thread(svg, printed.text)
    return Response(picture, media_type="image/svg+xml", headers=GUARDED)


@get("/parks/{park:str}/registration/pass-sheet", opt={"roles": DESK})
async def pass_sheet(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[str]:
    """Day passes to print and cut, with their armband numbers. It names nobody."""
    where = park_of(request, park)
    day, printed = await _printed(request, where, fits(_asked(request, "players"), Names, "players").split(","))
    stylesheet = f"/parks/{where.park}/registration/page/sheet.css"
    page = await asyncio.to_thread(sheet, where.park, day, printed, stylesheet)  # some tens of milliseconds a code
    return Response(page, media_type="text/html; charset=utf-8", headers=GUARDED)


def _asked(request: Request[Any, Any, Any], name: str) -> str:
    return str(request.query_params.get(name, ""))


async def _printed(request: Request[Any, Any, Any], park: Park, names: Any) -> tuple[date, list[Printed]]:
    """The passes of these players of today, signed; raises UnknownSubject, NotInThatState or RuleForbids."""
    names = tuple(names)
    if len(set(names)) != len(names):
        raise RuleForbids("A player stands on the list more than once. Name each player once.", where="players")
    given, _ = await park.load(lambda _: {(PLAYER, name) for name in names})
    today, ring = _today(park, given), rings_of(request)[park.park]
    players = [known_player(given, name) for name in names]
    for player in players:
        if player.day != today:
            raise NotInThatState(
                f"{player.player} was here on {player.day}; a pass is for today, {today}. Register him for today first.",
                where=f"player:{player.player}",
            )
    return today, [
        Printed(armband=one.armband, day_pass=one.day_pass, text=ring.text(one.day_pass, today)) for one in players
    ]


def _today(park: Park, given: Given) -> date:
    return operating_day(given.of(RULES, "").rules, park.clock.now())


ROUTES = (
    pass_keys,
    pass_picture,
    pass_sheet,
    file_route("/parks/{park:str}/registration/desk", FOLDER / "desk.html", "text/html"),
    *(
        file_route(f"/parks/{{park:str}}/registration/page/{name}", FOLDER / name, media)
        for name, media in PAGE.items()
    ),
)
