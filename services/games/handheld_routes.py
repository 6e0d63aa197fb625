"""The handheld's routes: what it shows, and the page."""

from functools import partial
from pathlib import Path
from typing import Any, Final

from litestar import Request, Response, get
from litestar.params import FromPath

from contracts.bench import After
from contracts.games import ON_FIELD
from contracts.handheld import PAGE, Handheld
from contracts.words import FieldId
from services.core.auth import Device
from services.core.command import Moment
from services.core.following import newest
from services.core.pages import NO_STORE, file_route
from services.core.park import Park
from services.core.reads import fits
from services.core.routes import park_of
from services.core.rules import RULES, operating_day
from services.games import handheld

FOLDER: Final = Path(__file__).with_name("page")


@get("/parks/{park:str}/games/handheld/{field:str}", opt={"roles": ON_FIELD})
async def handheld_of(request: Request[Any, Any, Any], park: FromPath[str], field: FromPath[str]) -> Response[Handheld]:
    """What the referee of one field sees; with `after` once there is something newer, or after some seconds."""
    where = park_of(request, park)
    asked = request.query_params.get("after")
    after = None if asked is None else fits(asked, After, "after")
    view = partial(_view, where, fits(field, FieldId, "field"), request.state.device)
    return Response(await newest(request, where, after, view), headers=NO_STORE)


async def _view(park: Park, field: str, device: Device) -> tuple[Handheld, list[str]]:
    """What is shown, and the tags of all that it is made of."""
    given, read = await park.load(lambda given: handheld.subjects(field, given))
    rules, now = given.of(RULES, "").rules, park.clock.now()
    moment = Moment(
        now=now,
        occurred_at=now,
        day=operating_day(rules, now),
        rules=rules,
        position=min(read.values()),
        device=device.id,
        roles=device.roles,
    )
    epoch = (await park.log.head()).epoch
    return handheld.view(park.park, epoch, field, given, moment), sorted({fold.tag(name) for fold, name in read})


ROUTES: Final = (
    handheld_of,
    file_route("/parks/{park:str}/games/handheld", FOLDER / "handheld.html", "text/html"),
    file_route("/parks/{park:str}/games/worker.js", FOLDER / "worker.js", "text/javascript"),
    *(file_route(f"/parks/{{park:str}}/games/page/{name}", FOLDER / name, media) for name, media in PAGE.items()),
)
