"""What decides about a person's data: visits, ages, holds, injuries, and whether they have been erased."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any
from uuid import UUID

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded, Unknown
from contracts.incidents import IncidentRecorded, InjuryRecorded, WitnessNamed
from contracts.registration import AgeBandRenewed, ConsentGiven, PersonRegistered, PlayerRegistered
from contracts.vault import DetailKept, ErasureReapplied, LegalHoldLifted, LegalHoldPlaced, PersonErased
from contracts.words import AgeBand
from services.core.fold import Evolve, Fold


class Life(Struct, frozen=True):
    """What the record says of one person that decides how long his data stay."""

    person: str
    registered: bool = False
    erased: bool = False
    unreadable: bool = False
    """Something about him is recorded that this software cannot read: it may be a hold."""
    ages: tuple[tuple[date, AgeBand], ...] = ()
    """Each age band with the day on which it was recorded."""
    last_visit: date | None = None
    players: tuple[str, ...] = ()
    wards: tuple[str, ...] = ()
    """Whom he consented for: his signature is their paper."""
    holds: dict[str, str] = {}
    """Each legal hold that stands, with its cause."""
    seen: dict[str, int] = {}
    """Each incident that he is a named witness of, or on which a note of his is kept, with the latest position."""
    lifted: dict[str, int] = {}
    """Incident → the position at which its hold on him was lifted."""


class Injured(Struct, frozen=True):
    """The recorded injuries in which a player was involved or which he saw, each with its latest position."""

    player: str
    person: str = ""
    injuries: dict[str, int] = {}
    unreadable: bool = False


class LegalHold(Struct, frozen=True):
    hold: str
    persons: tuple[str, ...] = ()
    lifted: bool = False


class Injury(Struct, frozen=True):
    """An incident, with its players if it was an injury, and its witnesses."""

    incident: str
    known: bool = False
    players: tuple[str, ...] = ()
    persons: tuple[str, ...] = ()
    """Witnesses named as persons, and whoever's note about it is kept."""


class Entry(Struct, frozen=True):
    """Whether the name of a detail is taken."""

    entry: str
    kept: bool = False


class Erasure(Struct, frozen=True):
    """One erasure, named by the event that granted it."""

    person: str
    id: UUID
    at: datetime


class Erasures(Struct, frozen=True):
    """Every person whom the park has erased."""

    erased: dict[str, Erasure] = {}


def _registered(life: Life, event: Recorded[PersonRegistered]) -> Life:
    return _aged(replace(life, registered=True), event)


def _aged(life: Life, event: Recorded[PersonRegistered] | Recorded[AgeBandRenewed]) -> Life:
    return replace(life, ages=(*life.ages, (event.day, event.data.age_band)))


def _came(life: Life, event: Recorded[PlayerRegistered]) -> Life:
    latest = max(event.day, life.last_visit or event.day)
    return replace(life, last_visit=latest, players=(*life.players, event.data.player))


def _consented(life: Life, event: Recorded[ConsentGiven]) -> Life:
    ward = event.data.person
    if event.data.guardian != life.person or ward in {life.person, *life.wards}:
        return life
    return replace(life, wards=(*life.wards, ward))


def _placed(life: Life, event: Recorded[LegalHoldPlaced]) -> Life:
    return replace(life, holds={**life.holds, event.data.hold: event.data.cause})


def _saw(life: Life, event: Recorded[WitnessNamed]) -> Life:
    return replace(life, seen={**life.seen, event.data.incident: event.position})


def _stated(life: Life, event: Recorded[DetailKept]) -> Life:
    """What somebody says of an incident is kept as a note: it stays while the incident's hold does."""
    incident = event.data.about.incident
    return replace(life, seen={**life.seen, incident: event.position}) if incident else life


def _lifted(life: Life, event: Recorded[LegalHoldLifted]) -> Life:
    hold, incident = event.data.hold, event.data.incident
    holds = {name: cause for name, cause in life.holds.items() if name != hold}
    return replace(life, holds=holds, lifted=life.lifted | ({incident: event.position} if incident else {}))


def _erased(life: Life, _: Recorded[PersonErased] | Recorded[ErasureReapplied]) -> Life:
    return replace(life, erased=True)


def _unread(life: Life, _: Recorded[Unknown]) -> Life:
    return replace(life, unreadable=True)


def _playing(injured: Injured, event: Recorded[PlayerRegistered]) -> Injured:
    return replace(injured, person=event.data.person)


def _hurt(injured: Injured, event: Recorded[IncidentRecorded]) -> Injured:
    return _held(injured, event) if event.data.kind == "injury" else injured


def _held(injured: Injured, event: Recorded[Any]) -> Injured:
    return replace(injured, injuries={**injured.injuries, event.data.incident: event.position})


def _player_unread(injured: Injured, _: Recorded[Unknown]) -> Injured:
    return replace(injured, unreadable=True)


def _hold_placed(hold: LegalHold, event: Recorded[LegalHoldPlaced]) -> LegalHold:
    return replace(hold, persons=event.data.persons)


def _hold_lifted(hold: LegalHold, _: Recorded[LegalHoldLifted]) -> LegalHold:
    return replace(hold, lifted=True)


def _injured(injury: Injury, event: Recorded[IncidentRecorded]) -> Injury:
    players = event.data.players if event.data.kind == "injury" else ()
    return _of(injury, players)


def _of(injury: Injury, players: Iterable[str], persons: Iterable[str] = ()) -> Injury:
    return replace(
        injury,
        known=True,
        players=tuple(dict.fromkeys((*injury.players, *players))),
        persons=tuple(dict.fromkeys((*injury.persons, *persons))),
    )


def _casualty(injury: Injury, event: Recorded[InjuryRecorded]) -> Injury:
    return _of(injury, filter(None, [event.data.player]))


def _witness(injury: Injury, event: Recorded[WitnessNamed]) -> Injury:
    return _of(injury, filter(None, [event.data.player]), filter(None, [event.data.person]))


def _statement(injury: Injury, event: Recorded[DetailKept]) -> Injury:
    return _of(injury, (), (event.data.person,))


def _kept(entry: Entry, _: Recorded[DetailKept]) -> Entry:
    return replace(entry, kept=True)


def _added(erasures: Erasures, event: Recorded[PersonErased]) -> Erasures:
    person = event.data.person
    return Erasures({**erasures.erased, person: Erasure(person, event.id, event.recorded_at)})


def _added_again(erasures: Erasures, event: Recorded[ErasureReapplied]) -> Erasures:
    data = event.data
    return Erasures({**erasures.erased, data.person: Erasure(data.person, data.erasure, data.erased_at)})


_LIFE: dict[type[Data], Evolve[Life]] = {
    PersonRegistered: _registered,
    AgeBandRenewed: _aged,
    PlayerRegistered: _came,
    ConsentGiven: _consented,
    WitnessNamed: _saw,
    DetailKept: _stated,
    LegalHoldPlaced: _placed,
    LegalHoldLifted: _lifted,
    PersonErased: _erased,
    ErasureReapplied: _erased,
    Unknown: _unread,
}
_INJURED: dict[type[Data], Evolve[Injured]] = {
    PlayerRegistered: _playing,
    IncidentRecorded: _hurt,
    InjuryRecorded: _held,
    WitnessNamed: _held,
    Unknown: _player_unread,
}
_LEGAL_HOLD: dict[type[Data], Evolve[LegalHold]] = {LegalHoldPlaced: _hold_placed, LegalHoldLifted: _hold_lifted}
LIFE: Fold[Life] = Fold("vault.life", "person", Life, _LIFE)
INJURED: Fold[Injured] = Fold("vault.injured", "player", Injured, _INJURED)
LEGAL_HOLD: Fold[LegalHold] = Fold("vault.legal_hold", "legal_hold", LegalHold, _LEGAL_HOLD)
_INJURY: dict[type[Data], Evolve[Injury]] = {
    IncidentRecorded: _injured,
    InjuryRecorded: _casualty,
    WitnessNamed: _witness,
    DetailKept: _statement,
}
INJURY: Fold[Injury] = Fold("vault.injury", "incident", Injury, _INJURY)
ENTRY: Fold[Entry] = Fold("vault.entry", "detail", Entry, {DetailKept: _kept})
ERASURES: Fold[Erasures] = Fold(
    "vault.erasures", "erasures", lambda _: Erasures(), {PersonErased: _added, ErasureReapplied: _added_again}
)
