"""Clearance asked for: strongly, by tag from the log, as the gate needs it; and from the read tables, as screens do."""

from collections.abc import Iterable
from typing import Any

from litestar import Request, get
from litestar.params import FromPath

from contracts.clearance import GATE, Clearance, Clearances, Names
from contracts.envelope import Reason
from contracts.registration import Refund
from contracts.words import FieldId, PlayerId
from services.clearance import at_desk, checks, chronographs, model, play, refund, tables
from services.clearance.asking import fits, moment_of
from services.core.command import Handler, Moment
from services.core.fold import Given, Subject
from services.core.folds import Folds
from services.core.following import bells
from services.core.park import Reads
from services.core.reads import at_least
from services.core.routes import park_of
from services.core.service import Service
from services.registration.passes.keyring import code_shown
from services.registration.passes.routes import rings_of

PROJECTION = Folds("clearance", model.FOLDS)
"""The read table: a row for each tag, with the states of every fold over it."""


@get("/parks/{park:str}/clearance/players/{player:str}", opt={"roles": GATE})
async def player_clearance(request: Request[Any, Any, Any], park: FromPath[str], player: FromPath[str]) -> Clearance:
    """May this player, with what he carries, enter this field now? Read from the log itself."""
    where = park_of(request, park)
    player = fits(player, PlayerId, "player")
    field = fits(request.query_params.get("field", ""), FieldId, "field")
    shown = request.query_params.get("day_pass")
    given, read = await where.load(_subjects(player, field))
    moment = moment_of(where, given, max(read.values()))
    day_pass = None if shown is None else code_shown(rings_of(request), where.park, shown, moment.day)
    return _judge(given, player, field, moment, day_pass)


@get("/parks/{park:str}/clearance", opt={"roles": GATE})
async def clearances(request: Request[Any, Any, Any], park: FromPath[str]) -> Clearances:
    """Who of these players is not ready for a field, and why? From the read tables, for staging's screen."""
    where = park_of(request, park)
    field = fits(request.query_params.get("field", ""), FieldId, "field")
    players = fits(request.query_params.get("players", ""), Names, "players").split(",")
    await at_least(request, where, PROJECTION.name)
    reads = [_subjects(player, field) for player in players]

    def all_of_them(given: Given) -> Iterable[Subject]:
        return {subject for one in reads for subject in one(given)}

    given, epoch, position = await tables.load(request.app.state.pool, where.park, PROJECTION, all_of_them)
    moment = moment_of(where, given, position)
    judged = tuple(_judge(given, player, field, moment) for player in players)
    return Clearances(epoch=epoch, position=position, players=judged)


def _subjects(player: str, field: str) -> Reads:
    reads = model.subjects(player, field)
    return lambda given: {*reads(given), *play.subjects(field, given)}


def _judge(given: Given, player: str, field: str, moment: Moment, day_pass: str | None = None) -> Clearance:
    """The player's own reasons, then the field's against anybody."""
    found: list[Reason] = model.reasons(given, player, field, moment, day_pass)
    found += [one for one in play.at_the_gate(given, field, moment) if one not in found]
    return Clearance(player=player, field=field, cleared=not found, reasons=tuple(found), basis=moment.basis)


SERVICE = Service(
    "clearance",
    (Handler(Refund, refund.reads, refund.refund),),
    (player_clearance, clearances, at_desk.desk_list, *chronographs.ROUTES, checks.day_checks),
    (bells,),
)
