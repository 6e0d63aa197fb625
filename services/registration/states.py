"""What the desk remembers: each person's papers, each player's day, each payment, and which passes and numbers are taken."""

from datetime import date, datetime

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.registration import (
    BanLifted,
    BriefingHeld,
    ConsentGiven,
    ConsentWithdrawn,
    GroupRegistered,
    GuardianLeft,
    MinorHandedOver,
    PassReissued,
    PersonBanned,
    PersonRegistered,
    PlayerLeft,
    PlayerRegistered,
    PlayerReturned,
    WaiverSigned,
)
from contracts.words import AgeBand, Part
from services.core.fold import Evolve, Fold

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Consent(Struct, frozen=True):
    """One guardian's consent for one child; `withdrawn` when it was taken back after it was given."""

    place: Place
    relationship: str
    wording: str
    on_site: bool
    responsible: str | None
    withdrawn: Place | None = None

    @property
    def stands(self) -> bool:
        return self.withdrawn is None or self.withdrawn < self.place


class Person(Struct, frozen=True):
    """A human being across days: age band, waivers signed by wording, consents by guardian, and a ban."""

    person: str
    registered: bool = False
    age_band: AgeBand = 0
    waivers: dict[str, Place] = {}
    consents: dict[str, Consent] = {}
    ban: tuple[Place, bool, date | None] | None = None
    """The latest word on it: when, whether banned, until which day (None: for good)."""
    player: tuple[date, str] | None = None
    """The latest day on which he came, and the player that he was."""


class Player(Struct, frozen=True):
    """A person on one operating day."""

    player: str
    person: str = ""
    day: date | None = None
    here_since: datetime | None = None
    group: str | None = None
    part: Part = "player"
    age_band: AgeBand = 0
    day_pass: str = ""
    old_passes: tuple[str, ...] = ()
    armband: int = 0
    briefing_due: int = 1
    briefings: tuple[int, ...] = ()
    guardians_left: dict[str, tuple[Place, str | None]] = {}
    """When each guardian left, and the adult that was named."""
    gone: Place | None = None
    returned: Place | None = None

    @property
    def left(self) -> bool:
        return self.gone is not None and (self.returned is None or self.returned < self.gone)


class Group(Struct, frozen=True):
    group: str
    registered: bool = False


class Taken(Struct, frozen=True):
    """Whom a day pass or an armband number names, and on which day."""

    name: str
    player: str = ""
    day: date | None = None


def _place(event: Recorded[Data]) -> Place:
    return (event.occurred_at, event.position)


def _person_registered(person: Person, event: Recorded[PersonRegistered]) -> Person:
    return replace(person, registered=True, age_band=event.data.age_band)


def _signed(person: Person, event: Recorded[WaiverSigned]) -> Person:
    wording = event.data.wording
    latest = max(_place(event), person.waivers.get(wording, _place(event)))
    return replace(person, waivers={**person.waivers, wording: latest})


def _consented(person: Person, event: Recorded[ConsentGiven]) -> Person:
    data = event.data
    if data.person != person.person:
        return person
    before = person.consents.get(data.guardian)
    if before is not None and before.place > _place(event):
        return person
    given = Consent(
        _place(event),
        data.relationship,
        data.wording,
        data.on_site,
        data.responsible,
        before.withdrawn if before else None,
    )
    return replace(person, consents={**person.consents, data.guardian: given})


def _withdrawn(person: Person, event: Recorded[ConsentWithdrawn]) -> Person:
    data = event.data
    consent = person.consents.get(data.guardian)
    if data.person != person.person or consent is None:
        return person
    latest = max(_place(event), consent.withdrawn or _place(event))
    return replace(person, consents={**person.consents, data.guardian: replace(consent, withdrawn=latest)})


def _banned(person: Person, event: Recorded[PersonBanned]) -> Person:
    return _ruled(person, (_place(event), True, event.data.until))


def _ban_lifted(person: Person, event: Recorded[BanLifted]) -> Person:
    return _ruled(person, (_place(event), False, None))


def _ruled(person: Person, ban: tuple[Place, bool, date | None]) -> Person:
    return person if person.ban is not None and person.ban[0] > ban[0] else replace(person, ban=ban)


def _came(person: Person, event: Recorded[PlayerRegistered]) -> Person:
    if person.player is not None and person.player[0] > event.day:
        return person
    return replace(person, player=(event.day, event.data.player))


def _registered(player: Player, event: Recorded[PlayerRegistered]) -> Player:
    data = event.data
    return replace(
        player,
        person=data.person,
        day=event.day,
        here_since=event.occurred_at,
        group=data.group,
        part=data.part,
        age_band=data.age_band,
        day_pass=data.day_pass,
        armband=data.armband,
        briefing_due=data.briefing_due,
    )


def _reissued(player: Player, event: Recorded[PassReissued]) -> Player:
    data = event.data
    return replace(player, day_pass=data.day_pass, old_passes=(*player.old_passes, data.replaces))


def _briefed(player: Player, event: Recorded[BriefingHeld]) -> Player:
    return replace(player, briefings=tuple(sorted({*player.briefings, event.data.version})))


def _guardian_left(player: Player, event: Recorded[GuardianLeft]) -> Player:
    guardian, place = event.data.guardian, _place(event)
    before = player.guardians_left.get(guardian)
    if before is not None and before[0] > place:
        return player
    return replace(player, guardians_left={**player.guardians_left, guardian: (place, event.data.responsible)})


def _left(player: Player, event: Recorded[PlayerLeft] | Recorded[MinorHandedOver]) -> Player:
    return replace(player, gone=max(_place(event), player.gone or _place(event)))


def _returned(player: Player, event: Recorded[PlayerReturned]) -> Player:
    return replace(player, returned=_place(event), here_since=event.occurred_at)


def _group_registered(group: Group, _: Recorded[GroupRegistered]) -> Group:
    return replace(group, registered=True)


def _pass_given(taken: Taken, event: Recorded[PlayerRegistered]) -> Taken:
    return replace(taken, player=event.data.player, day=event.day)


def _pass_reissued(taken: Taken, event: Recorded[PassReissued]) -> Taken:
    return replace(taken, player=event.data.player, day=event.day)


_PERSON: dict[type[Data], Evolve[Person]] = {
    PersonRegistered: _person_registered,
    WaiverSigned: _signed,
    ConsentGiven: _consented,
    ConsentWithdrawn: _withdrawn,
    PersonBanned: _banned,
    BanLifted: _ban_lifted,
    PlayerRegistered: _came,
}
_PLAYER: dict[type[Data], Evolve[Player]] = {
    PlayerRegistered: _registered,
    PassReissued: _reissued,
    BriefingHeld: _briefed,
    GuardianLeft: _guardian_left,
    PlayerLeft: _left,
    MinorHandedOver: _left,
    PlayerReturned: _returned,
}
PERSON: Fold[Person] = Fold("registration.person", "person", Person, _PERSON)
PLAYER: Fold[Player] = Fold("registration.player", "player", Player, _PLAYER)
GROUP: Fold[Group] = Fold("registration.group", "group", Group, {GroupRegistered: _group_registered})
PASS: Fold[Taken] = Fold(
    "registration.pass", "pass", Taken, {PlayerRegistered: _pass_given, PassReissued: _pass_reissued}
)
ARMBAND: Fold[Taken] = Fold("registration.armband", "armband", Taken, {PlayerRegistered: _pass_given})
