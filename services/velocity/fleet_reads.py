"""The fleet asked about: which markers to test again first, and the report across days; both from the read table."""

import asyncio
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

import msgspec
from litestar import Request, get
from litestar.params import FromPath
from msgspec import Struct

from contracts.envelope import Recorded
from contracts.fleet import KEEPERS, RETESTERS, FleetReport, Retest, Retests
from contracts.games import FieldConfigured
from contracts.problems import InvalidParameter
from contracts.rules import ChronoRules
from contracts.words import Day, FieldId
from services.core import generations
from services.core.command import Moment, must_know
from services.core.fold import Fold, Given
from services.core.park import Park
from services.core.plainly import plainly
from services.core.pool import Pool
from services.core.reads import at_least
from services.core.routes import park_of
from services.core.rules import RULES, operating_day
from services.velocity import fleet, retests
from services.velocity.hired import FLEET, HIRED, among_day
from services.velocity.history import History, Read
from services.velocity.kept import models
from services.velocity.measured_well import measured_well
from services.velocity.metrology.strings import Pooled
from services.velocity.states import CHRONO, LIMITS, WEATHER, Bench, Chrono

Rows = Mapping[str, tuple[History, Bench]]


class Taken(Struct, frozen=True):
    """The calibres that a field takes."""

    field: str
    calibres: tuple[str, ...] = ()


def _configured(taken: Taken, event: Recorded[FieldConfigured]) -> Taken:
    return Taken(taken.field, event.data.calibres)


TAKEN: Fold[Taken] = Fold("fleet.taken", "field", Taken, {FieldConfigured: _configured})


async def rows(pool: Pool, park: str, *among: str) -> tuple[Rows, int, int]:
    """The rows of the markers that these tags' beginnings name, by marker, with the epoch and position that they stand at."""
    async with pool.connection() as connection, connection.transaction(isolation="repeatable_read", readonly=True):
        names = set[str]()
        for prefix in among:
            found = await generations.read_prefix(connection, FLEET.name, park, prefix)
            names |= {tag.removeprefix(prefix) for tag in found.states}
        read = await generations.read(connection, FLEET.name, park, (f"marker:{name}" for name in names))
    states = {tag.partition(":")[2]: FLEET.decode(tag, state) for tag, state in read.states.items()}
    return {name: (history, bench) for name, (history, bench) in states.items()}, read.epoch, read.position


async def fleet_report(pool: Pool, where: Park, since: date | None, until: date | None) -> FleetReport:
    """The report on every hired marker of a park. A thread reckons it, so that nobody waits for it."""
    found, epoch, position = await rows(pool, where.park, HIRED)
    histories = [history for history, _ in found.values()]
    chronos, rules = await _chronos(where, histories)

    def reckoned() -> FleetReport:
        sound = measured_well(histories, chronos, rules)
        return fleet.report(sound, since, until, epoch=epoch, position=position)

    return await asyncio.to_thread(reckoned)


async def _chronos(where: Park, histories: Iterable[History]) -> tuple[dict[str, Chrono], ChronoRules]:
    """Every chronograph that these were read on, and the rules of their checks."""
    entries = (entry for history in histories for entry in history.entries)
    names = {entry.chrono for entry in entries if isinstance(entry, Read)}
    given, _ = await where.load(lambda _: {(CHRONO, name) for name in names})
    return {name: given.of(CHRONO, name) for name in names}, given.of(RULES, "").rules.velocity.chrono


async def retests_of(pool: Pool, where: Park, field: str) -> Retests:
    """The markers for hire, and all that were given out today, for a field that takes their calibre. Raises UnknownSubject."""
    given, read = await where.load(lambda _: {(LIMITS, field), (TAKEN, field), (WEATHER, "")})
    must_know(given.of(LIMITS, field).bench, f"field:{field}")
    moment = _moment(where, given, max(read.values()))
    found, epoch, position = await rows(pool, where.park, HIRED, among_day(moment.day))
    chronos, _ = await _chronos(where, [history for history, _ in found.values()])
    markers = await asyncio.to_thread(_judged, found, given, chronos, field, moment)
    return Retests(epoch=epoch, position=position, now=moment.now, field=field, markers=markers)


def _judged(found: Rows, given: Given, chronos: Mapping[str, Chrono], field: str, moment: Moment) -> tuple[Retest, ...]:
    known: dict[str, retests.Known] = {}
    sound = measured_well((history for history, _ in found.values()), chronos, moment.rules.velocity.chrono)
    for model, each in models(sound).values():
        sd = Pooled(model.spread.sd_fps, model.spread.degrees) if model.spread.degrees else None
        known |= {
            one.name: retests.Known(*found[one.name], gain=one.gain, model_gain=model.gain, model_sd=sd) for one in each
        }
    taken = given.of(TAKEN, field).calibres
    return retests.in_order(
        [
            retests.retest(one, chronos, given.of(LIMITS, field), given.of(WEATHER, ""), moment)
            for one in known.values()
            if one.history.calibre in taken
        ]
    )


def _moment(where: Park, given: Given, position: int) -> Moment:
    rules, now = given.of(RULES, "").rules, where.clock.now()
    return Moment(now=now, occurred_at=now, day=operating_day(rules, now), rules=rules, position=position)


@get("/parks/{park:str}/velocity/retests", opt={"roles": RETESTERS})
async def retest_list(request: Request[Any, Any, Any], park: FromPath[str]) -> Retests:
    """Which markers to test again first for a field, by risk, and why."""
    where = park_of(request, park)
    field = _asked(request, "field", FieldId)
    if field is None:
        raise InvalidParameter("field is missing. Add it to the query: ?field=…", where="field")
    await at_least(request, where, FLEET.name)
    return await retests_of(request.app.state.pool, where, field)


@get("/parks/{park:str}/velocity/fleet", opt={"roles": KEEPERS})
async def fleet_asked(request: Request[Any, Any, Any], park: FromPath[str]) -> FleetReport:
    """Which hired markers, and which models, creep, spread or stop."""
    where = park_of(request, park)
    since, until = _asked(request, "since", Day), _asked(request, "until", Day)
    if since is not None and until is not None and until < since:
        raise InvalidParameter(f"since is {since}, after until {until}. Exchange them.", where="since")
    await at_least(request, where, FLEET.name)
    return await fleet_report(request.app.state.pool, where, since, until)


def _asked(request: Request[Any, Any, Any], name: str, kind: Any) -> Any:
    value = request.query_params.get(name)
    try:
        return None if value is None else msgspec.convert(value, kind, strict=False)
    except msgspec.ValidationError as error:
        raise InvalidParameter(f"{name} does not fit: {plainly(error, kind)[0]}.", where=name) from None


ROUTES = (retest_list, fleet_asked)
