"""How an incident's record grows: everything that is told of it, in whatever order it comes."""

from datetime import datetime
from typing import Any

from msgspec.structs import replace

from contracts.envelope import Data, Recorded, Unknown
from contracts.equipment import GearReleased
from contracts.incidents import (
    CustodyPassed,
    CustodyTaken,
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
from services.core.fold import Evolve, Fold
from services.incidents.record import Handling, Incident, Open, Place, Release, Told


def _place(event: Recorded[Any]) -> Place:
    return event.occurred_at, event.position


def whom(data: InjuryRecorded | TreatmentGiven | OutcomeRecorded) -> str:
    if data.player is not None:
        return f"player:{data.player}"
    return f"worker:{data.worker}" if data.worker is not None else ""


def piece_of(data: CustodyTaken | CustodyPassed) -> tuple[str, ...]:
    named = (("marker", data.marker), ("mask", data.mask), ("bottle", data.bottle))
    return tuple(f"{kind}:{name}" for kind, name in named if name is not None)


def _joined(*several: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one for some in several for one in some))


def _in_order(several: tuple[Told, ...], one: Told) -> tuple[Told, ...]:
    return tuple(sorted((*several, one), key=lambda told: told.place))


def _recorded(incident: Incident, event: Recorded[IncidentRecorded]) -> Incident:
    """Told again, the latest told says what it was; who and what was concerned is never forgotten."""
    data = event.data
    gear = (*(f"marker:{one}" for one in data.markers), *(f"mask:{one}" for one in data.masks))
    return replace(
        incident,
        kind=data.kind,
        since=_place(event),
        field=data.field if data.field is not None else incident.field,
        game=data.game if data.game is not None else incident.game,
        players=_joined(incident.players, data.players),
        pieces=_joined(incident.pieces, gear),
        emergency=incident.emergency or data.emergency_services,
    )


def _hurt(incident: Incident, event: Recorded[InjuryRecorded]) -> Incident:
    data = event.data
    part = f"{data.side} {data.part}" if data.side else data.part
    told = Told(_place(event), whom(data), data.injury, part=part)
    return replace(incident, injuries=_in_order(incident.injuries, told))


def _treated(incident: Incident, event: Recorded[TreatmentGiven]) -> Incident:
    told = Told(_place(event), whom(event.data), event.data.treatment, by=event.data.staff)
    return replace(incident, treatments=_in_order(incident.treatments, told))


def _ended(incident: Incident, event: Recorded[OutcomeRecorded]) -> Incident:
    told = Told(_place(event), whom(event.data), event.data.outcome)
    return replace(incident, outcomes=_in_order(incident.outcomes, told))


def _scene(incident: Incident, event: Recorded[SceneRecorded]) -> Incident:
    """What happened to be told last is no truer: the latest look at the scene counts, and what it leaves out stays."""
    data, place = event.data, _place(event)
    newest = place >= max(incident.scene, default=place)
    known = {
        name: value
        for name in ("place", "sky", "paint_batch")
        if (value := getattr(data, name)) is not None and (newest or getattr(incident, name) is None)
    }
    return replace(
        incident,
        scene=(*incident.scene, place),
        bottles=_joined(incident.bottles, data.bottles),
        tests=_joined(incident.tests, data.tests),
        **known,
    )


def _earliest(known: dict[str, datetime], name: str, at: datetime) -> dict[str, datetime]:
    return {**known, name: min(at, known.get(name, at))}


def _called(incident: Incident, event: Recorded[HelpCalled]) -> Incident:
    return replace(incident, called=_earliest(incident.called, event.data.service, event.occurred_at))


def _arrived(incident: Incident, event: Recorded[HelpArrived]) -> Incident:
    return replace(incident, arrived=_earliest(incident.arrived, event.data.service, event.occurred_at))


def _seen(incident: Incident, event: Recorded[WitnessNamed]) -> Incident:
    data = event.data
    named = (("person", data.person), ("player", data.player), ("staff", data.staff))
    return replace(
        incident, witnesses=_joined(incident.witnesses, tuple(f"{kind}:{one}" for kind, one in named if one))
    )


def _taken(incident: Incident, event: Recorded[CustodyTaken]) -> Incident:
    return _handled(incident, event, None, event.data.staff)


def _passed(incident: Incident, event: Recorded[CustodyPassed]) -> Incident:
    return _handled(incident, event, event.data.giver, event.data.taker or str(event.data.outside))


def _handled(incident: Incident, event: Recorded[Any], giver: str | None, taker: str) -> Incident:
    pieces = piece_of(event.data)
    steps = tuple(Handling(_place(event), piece, giver, taker, event.data.kept) for piece in pieces)
    return replace(incident, handlings=(*incident.handlings, *steps), pieces=_joined(incident.pieces, pieces))


def _notified(incident: Incident, event: Recorded[NotificationRecorded]) -> Incident:
    return replace(incident, notified=_earliest(incident.notified, event.data.reminder, event.occurred_at))


def _unread(incident: Incident, _: Recorded[Unknown]) -> Incident:
    return replace(incident, unreadable=True)


def _telling(evolve: Evolve[Incident]) -> Evolve[Incident]:
    """Whatever is told opens an incident that was closed: nobody had known of it."""
    return lambda incident, event: replace(evolve(incident, event), told=True, closed=False)


def _closed(incident: Incident, _: Recorded[IncidentClosed]) -> Incident:
    return replace(incident, closed=True)


def _opened(known: Open, event: Recorded[Any]) -> Open:
    """By the event's tags: of what cannot be read they are all that is known."""
    named = (tag.partition(":") for tag in event.tags)
    return Open(_joined(known.names, tuple(name for kind, _, name in named if kind == INCIDENT.prefix)))


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
    HelpCalled: _called,
    HelpArrived: _arrived,
    WitnessNamed: _seen,
    CustodyTaken: _taken,
    CustodyPassed: _passed,
    NotificationRecorded: _notified,
    Unknown: _unread,
}
INCIDENT: Fold[Incident] = Fold(
    "incidents.incident",
    "incident",
    Incident,
    {**{data: _telling(evolve) for data, evolve in _TOLD.items()}, IncidentClosed: _closed},
)
OPEN: Fold[Open] = Fold(
    "incidents.open", "incidents", lambda _: Open(), {**dict.fromkeys(_TOLD, _opened), IncidentClosed: _shut}
)
RELEASES: dict[str, Fold[Release]] = {
    kind: Fold(f"incidents.{kind}", kind, Release, {GearReleased: _released}) for kind in ("marker", "mask", "bottle")
}
"""By kind of gear: when a manager let a piece of evidence go."""
