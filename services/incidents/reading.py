"""The open incidents, read from the log itself."""

from datetime import datetime
from typing import Any

from litestar import Request, Response, get
from litestar.params import FromPath

from contracts.first_aid import EMERGENCY
from contracts.incident_reads import (
    ASKING,
    CAUTIONS,
    CasualtyShown,
    EntryShown,
    EvidenceShown,
    HelpShown,
    IncidentShown,
    OpenIncidents,
    ReminderShown,
    StepShown,
    WithdrawnShown,
)
from contracts.rules import IncidentRules
from services.core.fold import Given, Subject
from services.core.pages import NO_STORE
from services.core.routes import park_of
from services.core.rules import RULES
from services.incidents.custody import chain, holder
from services.incidents.entries import Told
from services.incidents.facts import evidence, releases
from services.incidents.missing import missing
from services.incidents.record import Incident, Release
from services.incidents.reminders import reminded
from services.incidents.states import FITNESS
from services.incidents.telling import INCIDENT, OPEN
from services.incidents.withdrawing import stays


@get("/parks/{park:str}/incidents", opt={"roles": ASKING})
async def incidents(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[OpenIncidents]:
    """What is open, what is missing, what may have to be reported and by when."""
    where = park_of(request, park)
    given, read = await where.load(subjects)
    rules = given.of(RULES, "").rules.incidents
    return Response(shown(where.park, given, rules, where.clock.now(), min(read.values())), headers=NO_STORE)


def subjects(given: Given) -> set[Subject]:
    """The list of the open ones, each of them, and the gear that is evidence."""
    wanted: set[Subject] = {(OPEN, "")}
    names = given.of(OPEN, "").names
    wanted |= {(INCIDENT, name) for name in names}
    known = [given.of(INCIDENT, name) for name in names]
    wanted |= {(FITNESS, player) for one in known for player in _misnamed(one)}
    return wanted.union(*(evidence(one) for one in known))


def _misnamed(incident: Incident) -> set[str]:
    """The players whom an entry named that is withdrawn."""
    named = (tag.partition(":") for one in incident.withdrawn for tag in one.named)
    return {player for kind, _, player in named if kind == "player"}


def shown(park: str, given: Given, rules: IncidentRules, now: datetime, position: int) -> OpenIncidents:
    """The answer, of a moment and a position of the log."""
    known = [given.of(INCIDENT, name) for name in given.of(OPEN, "").names]
    newest = sorted(known, key=lambda one: (one.happened is not None, one.happened or now), reverse=True)
    return OpenIncidents(
        park=park,
        as_of=now,
        position=position,
        first=EMERGENCY,
        incidents=tuple(_incident(one, given, rules, now) for one in newest),
        cautions=CAUTIONS,
    )


def _incident(incident: Incident, given: Given, rules: IncidentRules, now: datetime) -> IncidentShown:
    let_go = releases(incident, given)
    fitness = {player: given.of(FITNESS, player) for player in _misnamed(incident)}
    return IncidentShown(
        incident=incident.incident,
        kind=incident.kind,
        happened_at=incident.happened,
        field=incident.field,
        game=incident.game,
        place=incident.place,
        sky=incident.sky,
        paint_batch=incident.paint_batch,
        players=incident.players,
        bottles=incident.bottles,
        tests=incident.tests,
        witnesses=len(incident.witnesses),
        casualties=tuple(_casualty(incident, whom) for whom in incident.casualties),
        help=tuple(
            HelpShown(service=one, called_at=incident.called.get(one), arrived_at=incident.arrived.get(one))
            for one in sorted(incident.called.keys() | incident.arrived.keys())
        ),
        evidence=tuple(_evidence(incident, piece, let_go.get(piece)) for piece in incident.pieces),
        missing=missing(incident, let_go, rules),
        reminders=tuple(
            ReminderShown(
                code=due.reminder.code,
                title=due.reminder.title,
                because=due.because,
                by=due.by,
                overdue=due.overdue(now),
                notified_at=due.notified_at,
            )
            for due in reminded(incident, rules)
        ),
        entries=tuple(
            EntryShown(entry=one.entry, kind=one.kind, at=one.place[0], says=one.says) for one in incident.entries
        ),
        withdrawn=tuple(
            WithdrawnShown(
                entry=one.entry,
                kind=one.kind,
                says=one.says,
                slip=one.slip,
                withdrawn_at=one.at,
                stays=tuple(stays(one, incident, let_go, fitness)),
            )
            for one in incident.withdrawn
        ),
    )


def _casualty(incident: Incident, whom: str) -> CasualtyShown:
    def his(told: tuple[Told, ...]) -> list[Told]:
        return [one for one in told if one.whom == whom]

    return CasualtyShown(
        whom=whom,
        injuries=tuple(f"{one.part}: {one.what}" for one in his(incident.injuries)),
        treatments=tuple(f"{one.what}, by {one.by or 'somebody outside'}" for one in his(incident.treatments)),
        outcomes=tuple(one.what for one in his(incident.outcomes)),
    )


def _evidence(incident: Incident, piece: str, release: Release | None) -> EvidenceShown:
    return EvidenceShown(
        piece=piece,
        holder=holder(piece, incident.handlings, release),
        released_at=release.released[0] if release and release.released else None,
        custody=tuple(
            StepShown(
                at=step.handling.place[0],
                giver=step.handling.giver,
                taker=step.handling.taker,
                kept=step.handling.kept,
                gap=step.gap,
            )
            for step in chain(piece, incident.handlings, release)
        ),
    )
