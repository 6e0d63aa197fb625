"""Clearance asked for: strongly, by tag from the log, as the gate needs it."""

from typing import Any

import msgspec
from litestar import Request, get

from contracts.clearance import Clearance
from contracts.problems import InvalidParameter
from contracts.registration import Refund
from contracts.words import DayPass, FieldId, PlayerId, Role
from services.clearance import model, refund
from services.clearance.field import FIELD
from services.clearance.field import reasons as field_reasons
from services.core.command import Handler, Moment
from services.core.routes import park_of
from services.core.rules import RULES, operating_day
from services.core.service import Service

GATE: frozenset[Role] = frozenset(
    {"desk", "gear", "chrono", "staging", "referee", "head_referee", "first_aider", "manager", "auditor"}
)


@get("/parks/{park:str}/clearance/players/{player:str}", opt={"roles": GATE})
async def player_clearance(request: Request[Any, Any, Any], park: str, player: str) -> Clearance:
    """May this player, with what he carries, enter this field now? Every reason why not, his own and the field's.

    Read from the log itself. It asks nothing of the record and admits nobody: StartGame and AdmitPlayer do.
    """
    where = park_of(request, park)
    player = _fits(player, PlayerId, "player")
    field = _fits(request.query_params.get("field", ""), FieldId, "field")
    shown = request.query_params.get("day_pass")
    day_pass = None if shown is None else _fits(shown, DayPass, "day_pass")
    given, read = await where.load(model.subjects(player, field))
    rules, now = given.of(RULES, "").rules, where.clock.now()
    moment = Moment(now=now, occurred_at=now, day=operating_day(rules, now), rules=rules, position=max(read.values()))
    found = model.reasons(given, player, field, moment, day_pass)
    of_field = given.of(FIELD, field)
    found += [one for one in field_reasons(of_field, moment, of_field.running) if one not in found]
    return Clearance(player=player, field=field, cleared=not found, reasons=tuple(found), basis=moment.basis)


def _fits(value: str, kind: Any, name: str) -> str:
    try:
        return str(msgspec.convert(value, kind))
    except msgspec.ValidationError as error:
        raise InvalidParameter(f"{name} does not fit: {error}.", where=name) from None


SERVICE = Service("clearance", (Handler(Refund, refund.reads, refund.refund),), (player_clearance,))
