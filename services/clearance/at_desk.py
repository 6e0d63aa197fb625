"""Who stands at the desk: each with what he still lacks for a field, and with what the desk must name to clear it."""

from collections.abc import Iterable, Sequence
from functools import partial
from typing import Any

from litestar import Request, Response, get
from litestar.params import FromPath

from contracts.bench import After
from contracts.clearance import Names
from contracts.desk import AtDesk, DeskCard, DeskField
from contracts.registration import DESK
from contracts.words import FieldId
from services.clearance import model, play
from services.clearance.asking import moment_of
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.core.following import newest
from services.core.pages import NO_STORE
from services.core.park import Park
from services.core.reads import fits
from services.core.routes import park_of
from services.registration import guardians
from services.registration.known import known_player
from services.registration.model import is_minor
from services.registration.persons import PERSON
from services.registration.states import PLAYER
from services.velocity.bench import FIELDS


@get("/parks/{park:str}/registration/desk-list", opt={"roles": DESK})
async def desk_list(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[AtDesk]:
    """These players as the desk sees them, from the log itself; with `after` once there is something newer, or after some seconds."""
    where, query = park_of(request, park), request.query_params
    names = fits(query["players"], Names, "players").split(",") if query.get("players") else []
    field = fits(query["field"], FieldId, "field") if query.get("field") else None
    after = fits(query["after"], After, "after") if query.get("after") else None
    view = partial(_view, where, tuple(dict.fromkeys(names)), field)
    return Response(await newest(request, where, after, view), headers=NO_STORE)


async def _view(park: Park, names: Sequence[str], asked: str | None) -> tuple[AtDesk, list[str]]:
    """What is shown, and the tags of all that it is made of. Without a field it is the first one by its title."""
    given, _ = await park.load(lambda _: {(FIELDS, "")})
    configured = given.of(FIELDS, "").configured
    field = asked or (configured[0][0] if configured else "")
    given, read = await park.load(partial(_subjects, names, field))
    moment = moment_of(park, given, max(read.values()))
    shown = AtDesk(
        park=park.park,
        epoch=(await park.log.head()).epoch,
        position=min(read.values()),
        as_of=moment.now,
        day=moment.day,
        time_zone=moment.rules.time_zone,
        currency=moment.rules.money.currency,
        waiver=moment.rules.waiver.accepted[0],
        briefing=moment.rules.briefing.version,
        majority_years=moment.rules.waiver.majority_years,
        field=field or None,
        fields=tuple(DeskField(field=name, title=title) for name, title, _ in configured),
        players=tuple(_card(given, name, field, moment) for name in names),
    )
    return shown, sorted({fold.tag(name) for fold, name in read})


def _subjects(names: Sequence[str], field: str, given: Given) -> Iterable[Subject]:
    wanted: set[Subject] = {(FIELDS, "")}
    for name in names:
        wanted |= {(PLAYER, name), *model.subjects(name, field)(given)}
    return wanted | play.subjects(field, given) if field else wanted


def _card(given: Given, name: str, field: str, moment: Moment) -> DeskCard:
    player = known_player(given, name)
    found = model.reasons(given, name, field, moment)
    found += [one for one in play.at_the_gate(given, field, moment) if one not in found] if field else []
    person, minor = given.of(PERSON, player.person), is_minor(player.age_band, moment.rules)
    answering = guardians.answering(player, person, model.adults_gone(given, name), moment) if minor else ()
    return DeskCard(
        player=name,
        person=player.person,
        age_band=player.age_band,
        minor=minor,
        part=player.part,
        group=player.group,
        armband=player.armband,
        day_pass=player.day_pass,
        left=player.left,
        adults=answering,
        cleared=not found,
        reasons=tuple(found),
    )
