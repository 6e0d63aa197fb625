"""How an incident's record grows: everything that is told of it, in whatever order it comes."""

from typing import Any, Final

from msgspec.structs import replace

from contracts.envelope import Data, Recorded, Unknown
from contracts.equipment import GearReleased
from contracts.first_aid import Entry as Kind
from contracts.incidents import (
    CustodyPassed,
    CustodyTaken,
    EntryWithdrawn,
    HelpArrived,
    HelpCalled,
    IncidentClosed,
    IncidentRecorded,
    InjuryRecorded,
    NotificationRecorded,
    OutcomeRecorded,
    SceneRecorded,
    TreatmentGiven,
    WitnessNamed,
)
from contracts.vault import LegalHoldLifted
from services.core.fold import Evolve, Fold
from services.incidents.entries import Account, Handling, Look, Place, Told
from services.incidents.record import Incident, Open, Release
from services.incidents.withdrawing import without

KINDS: Final[dict[type[Data], Kind]] = {
    IncidentRecorded: "incident",
    InjuryRecorded: "injury",
    TreatmentGiven: "treatment",
    OutcomeRecorded: "outcome",
    SceneRecorded: "scene",
    HelpCalled: "help_called",
    HelpArrived: "help_arrived",
    WitnessNamed: "witness",
    CustodyTaken: "custody_taken",
    CustodyPassed: "custody_passed",
    NotificationRecorded: "notification",
}
"""What may be withdrawn again."""


def whom(data: InjuryRecorded | TreatmentGiven | OutcomeRecorded) -> str:
    if data.player is not None:
        return f"player:{data.player}"
    return f"worker:{data.worker}" if data.worker is not None else ""


def piece_of(data: CustodyTaken | CustodyPassed) -> tuple[str, ...]:
    named = (("marker", data.marker), ("mask", data.mask), ("bottle", data.bottle))
    return tuple(f"{kind}:{name}" for kind, name in named if name is not None)


def _place(event: Recorded[Any]) -> Place:
    return event.occurred_at, event.position


def _entry(event: Recorded[Any]) -> dict[str, Any]:
    """What every entry has. The incident's own tags name nobody."""
    named = tuple(tag for tag in event.tags if tag.partition(":")[0] not in {"incident", "incidents"})
    return {"entry": str(event.id), "place": _place(event), "kind": KINDS[type(event.data)], "named": named}


def _told(incident: Incident, event: Recorded[Any], **said: Any) -> Incident:
    return replace(incident, told=(*incident.told, Told(**_entry(event), **said)))


def _recorded(incident: Incident, event: Recorded[IncidentRecorded]) -> Incident:
    data = event.data
    account = Account(
        **_entry(event),
        of=data.kind,
        field=data.field,
        game=data.game,
        players=data.players,
        pieces=(*(f"marker:{one}" for one in data.markers), *(f"mask:{one}" for one in data.masks)),
        emergency=data.emergency_services,
    )
    return replace(incident, accounts=(*incident.accounts, account))


def _hurt(incident: Incident, event: Recorded[InjuryRecorded]) -> Incident:
    data = event.data
    part = f"{data.side} {data.part}" if data.side else data.part
    return _told(incident, event, whom=whom(data), what=data.injury, part=part)


def _treated(incident: Incident, event: Recorded[TreatmentGiven]) -> Incident:
    return _told(incident, event, whom=whom(event.data), what=event.data.treatment, by=event.data.staff)


def _ended(incident: Incident, event: Recorded[OutcomeRecorded]) -> Incident:
    return _told(incident, event, whom=whom(event.data), what=event.data.outcome)


def _help(incident: Incident, event: Recorded[HelpCalled] | Recorded[HelpArrived]) -> Incident:
    return _told(incident, event, what=event.data.service)


def _seen(incident: Incident, event: Recorded[WitnessNamed]) -> Incident:
    data = event.data
    named = (("person", data.person), ("player", data.player), ("staff", data.staff))
    return _told(incident, event, whom=next((f"{kind}:{one}" for kind, one in named if one), ""))


def _notified(incident: Incident, event: Recorded[NotificationRecorded]) -> Incident:
    return _told(incident, event, what=event.data.reminder)


def _scene(incident: Incident, event: Recorded[SceneRecorded]) -> Incident:
    data = event.data
    look = Look(
        **_entry(event),
        spot=data.place,
        sky=data.sky,
        paint_batch=data.paint_batch,
        bottles=data.bottles,
        tests=data.tests,
    )
    return replace(incident, looks=(*incident.looks, look))


def _taken(incident: Incident, event: Recorded[CustodyTaken]) -> Incident:
    return _handled(incident, event, None, event.data.staff)


def _passed(incident: Incident, event: Recorded[CustodyPassed]) -> Incident:
    return _handled(incident, event, event.data.giver, event.data.taker or str(event.data.outside))


def _handled(incident: Incident, event: Recorded[Any], giver: str | None, taker: str) -> Incident:
    steps = tuple(
        Handling(**_entry(event), piece=piece, giver=giver, taker=taker, kept=event.data.kept)
        for piece in piece_of(event.data)
    )
    return replace(incident, handlings=(*incident.handlings, *steps))


def _unheld(incident: Incident, event: Recorded[LegalHoldLifted]) -> Incident:
    return replace(incident, unheld={**incident.unheld, **dict.fromkeys(event.data.persons, event.position)})


def _unread(incident: Incident, _: Recorded[Unknown]) -> Incident:
    return replace(incident, unreadable=True)


def _telling(evolve: Evolve[Incident]) -> Evolve[Incident]:
    """Whatever is told opens an incident that was closed: nobody had known of it."""
    return lambda incident, event: replace(evolve(incident, event), known=True, closed=False)


def _closed(incident: Incident, _: Recorded[IncidentClosed]) -> Incident:
    return replace(incident, closed=True)


def _opened(known: Open, event: Recorded[Any]) -> Open:
    """By the event's tags: of what cannot be read they are all that is known."""
    named = (tag.partition(":") for tag in event.tags)
    opened = [name for kind, _, name in named if kind == INCIDENT.prefix]
    return Open(tuple(dict.fromkeys((*known.names, *opened))))


def _shut(known: Open, event: Recorded[IncidentClosed]) -> Open:
    return Open(tuple(one for one in known.names if one != event.data.incident))


def _released(release: Release, event: Recorded[GearReleased]) -> Release:
    return replace(release, released=max(_place(event), release.released or _place(event)))


_TOLD: dict[type[Data], Evolve[Incident]] = {
    IncidentRecorded: _recorded,
    InjuryRecorded: _hurt,
    TreatmentGiven: _treated,
    OutcomeRecorded: _ended,
    SceneRecorded: _scene,
    HelpCalled: _help,
    HelpArrived: _help,
    WitnessNamed: _seen,
    CustodyTaken: _taken,
    CustodyPassed: _passed,
    NotificationRecorded: _notified,
    EntryWithdrawn: without,
    Unknown: _unread,
}
INCIDENT: Fold[Incident] = Fold(
    "incidents.incident",
    "incident",
    Incident,
    {
        **{data: _telling(evolve) for data, evolve in _TOLD.items()},
        IncidentClosed: _closed,
        LegalHoldLifted: _unheld,
    },
)
OPEN: Fold[Open] = Fold(
    "incidents.open", "incidents", lambda _: Open(), {**dict.fromkeys(_TOLD, _opened), IncidentClosed: _shut}
)
RELEASES: dict[str, Fold[Release]] = {
    kind: Fold(f"incidents.{kind}", kind, Release, {GearReleased: _released}) for kind in ("marker", "mask", "bottle")
}
"""By kind of gear: when a manager let a piece of evidence go."""
