"""The gear counter's routes: what its page shows, and the page."""

from functools import partial
from pathlib import Path
from typing import Any, Final

from litestar import Request, Response, get
from litestar.params import FromPath

from contracts.bench import After
from contracts.equipment import GEAR_AND_CHRONO
from contracts.gear import PAGE, Code, Counter
from contracts.gear import Stock as StockShown
from contracts.words import PlayerId
from services.core import generations
from services.core.command import Moment
from services.core.following import newest
from services.core.pages import NO_STORE, file_route
from services.core.park import Park
from services.core.pool import Pool
from services.core.reads import at_least, fits
from services.core.routes import park_of
from services.core.rules import RULES, operating_day
from services.equipment import showing
from services.equipment.stock import STOCK, stock

FOLDER: Final = Path(__file__).with_name("page")


@get("/parks/{park:str}/equipment/counter.json", opt={"roles": GEAR_AND_CHRONO})
async def counter_of(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[Counter]:
    """What the counter shows of one player and of the piece in hand; with `after` once there is something newer."""
    where = park_of(request, park)
    player, code = _asked(request, "player", PlayerId), _asked(request, "gear", Code)
    view = partial(_view, where, player, code)
    return Response(await newest(request, where, _asked(request, "after", After), view), headers=NO_STORE)


async def _view(park: Park, player: str | None, code: str | None) -> tuple[Counter, list[str]]:
    """What is shown, and the tags of all that it is made of."""
    given, read = await park.load(lambda given: showing.subjects(player, code, given))
    rules, now = given.of(RULES, "").rules, park.clock.now()
    moment = Moment(now=now, occurred_at=now, day=operating_day(rules, now), rules=rules, position=min(read.values()))
    epoch = (await park.log.head()).epoch
    shown = showing.view(park.park, epoch, player, code, given, moment)
    return shown, sorted({fold.tag(name) for fold, name in read})


@get("/parks/{park:str}/equipment/stock", opt={"roles": GEAR_AND_CHRONO})
async def stock_of(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[StockShown]:
    """The spares of each model, and what is still out."""
    where = park_of(request, park)
    await at_least(request, where, STOCK.name)
    return Response(await _stock(request.app.state.pool, where), headers=NO_STORE)


async def _stock(pool: Pool, park: Park) -> StockShown:
    async with pool.connection() as connection, connection.transaction(isolation="repeatable_read", readonly=True):
        found = await generations.read_prefix(connection, STOCK.name, park.park, "hired:")
        hired = [tag.partition(":")[2] for tag in found.states]
        rows = {**found.states, **(await generations.read(connection, STOCK.name, park.park, hired)).states}
        given = STOCK.given({tag: STOCK.decode(tag, state) for tag, state in rows.items()})
        holders = {f"player:{holder}" for tag in hired if (holder := showing.holder_of(tag, given)) is not None}
        worn = (await generations.read(connection, STOCK.name, park.park, holders)).states
    STOCK.given({tag: STOCK.decode(tag, state) for tag, state in worn.items()}, given)
    ruled, _ = await park.load(lambda _: ())
    now = park.clock.now()
    return stock(hired, given, now, operating_day(ruled.of(RULES, "").rules, now), (found.epoch, found.position))


def _asked(request: Request[Any, Any, Any], name: str, kind: Any) -> str | None:
    value = request.query_params.get(name)
    return None if value is None else fits(value, kind, name)


ROUTES: Final = (
    counter_of,
    stock_of,
    file_route("/parks/{park:str}/equipment/counter", FOLDER / "counter.html", "text/html"),
    *(file_route(f"/parks/{{park:str}}/equipment/page/{name}", FOLDER / name, media) for name, media in PAGE.items()),
)
