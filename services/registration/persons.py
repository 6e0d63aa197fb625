"""What the desk remembers of a human being across days: age band, papers, and whether he may come at all."""

from datetime import date, datetime

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.registration import (
    AgeBandRenewed,
    BanLifted,
    ConsentGiven,
    ConsentWithdrawn,
    PersonBanned,
    PersonRegistered,
    PlayerRegistered,
    WaiverSigned,
    WithdrawalVoided,
)
from contracts.words import AgeBand
from services.core.fold import Evolve, Fold

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Consent(Struct, frozen=True):
    """One guardian's latest consent for one child."""

    place: Place
    relationship: str
    wording: str
    on_site: bool
    responsible: str | None


class Ban(Struct, frozen=True):
    """The latest word on a ban: it holds through `until` (None: for good), unless that word lifted it."""

    place: Place
    until: date | None = None
    lifted: bool = False


class Person(Struct, frozen=True):
    """A human being across days. Waivers are by wording; consents and their withdrawals by guardian, each the latest."""

    person: str
    registered: bool = False
    age_band: AgeBand = 0
    waivers: dict[str, Place] = {}
    consents: dict[str, Consent] = {}
    withdrawals: dict[str, Place] = {}
    ban: Ban | None = None
    players: dict[str, str] = {}
    """Day → the player that he was on it."""

    def player_on(self, day: date | None) -> str | None:
        return None if day is None else self.players.get(day.isoformat())

    @property
    def opposed(self) -> list[str]:
        """The guardians who took consent back and have not given it again since."""
        return [
            guardian
            for guardian, place in self.withdrawals.items()
            if guardian not in self.consents or self.consents[guardian].place < place
        ]


def place_of(event: Recorded[Data]) -> Place:
    return (event.occurred_at, event.position)


def _registered(person: Person, event: Recorded[PersonRegistered]) -> Person:
    return replace(person, registered=True, age_band=event.data.age_band)


def _grew(person: Person, event: Recorded[AgeBandRenewed]) -> Person:
    return replace(person, age_band=max(person.age_band, event.data.age_band))


def _signed(person: Person, event: Recorded[WaiverSigned]) -> Person:
    return replace(person, waivers=_latest(person.waivers, event.data.wording, place_of(event)))


def _consented(person: Person, event: Recorded[ConsentGiven]) -> Person:
    """The event names the guardian too; it is the child's paper."""
    data, place = event.data, place_of(event)
    before = person.consents.get(data.guardian)
    if data.person != person.person or (before is not None and before.place > place):
        return person
    given = Consent(place, data.relationship, data.wording, data.on_site, data.responsible)
    return replace(person, consents={**person.consents, data.guardian: given})


def _withdrawn(person: Person, event: Recorded[ConsentWithdrawn]) -> Person:
    if event.data.person != person.person:
        return person
    return replace(person, withdrawals=_latest(person.withdrawals, event.data.guardian, place_of(event)))


def _withdrawal_voided(person: Person, event: Recorded[WithdrawalVoided]) -> Person:
    """Nothing that is told later, however old, is voided by it: whoever voids knows what was recorded by then."""
    data = event.data
    if data.person != person.person:
        return person
    return replace(
        person, withdrawals={name: place for name, place in person.withdrawals.items() if name != data.guardian}
    )


def _latest(places: dict[str, Place], name: str, place: Place) -> dict[str, Place]:
    return {**places, name: max(place, places.get(name, place))}


def _banned(person: Person, event: Recorded[PersonBanned]) -> Person:
    return _ruled(person, Ban(place_of(event), event.data.until))


def _ban_lifted(person: Person, event: Recorded[BanLifted]) -> Person:
    return _ruled(person, Ban(place_of(event), lifted=True))


def _ruled(person: Person, ban: Ban) -> Person:
    return person if person.ban is not None and person.ban.place > ban.place else replace(person, ban=ban)


def _came(person: Person, event: Recorded[PlayerRegistered]) -> Person:
    return replace(person, players={**person.players, event.day.isoformat(): event.data.player})


_PERSON: dict[type[Data], Evolve[Person]] = {
    PersonRegistered: _registered,
    AgeBandRenewed: _grew,
    WaiverSigned: _signed,
    ConsentGiven: _consented,
    ConsentWithdrawn: _withdrawn,
    WithdrawalVoided: _withdrawal_voided,
    PersonBanned: _banned,
    BanLifted: _ban_lifted,
    PlayerRegistered: _came,
}
PERSON: Fold[Person] = Fold("registration.person", "person", Person, _PERSON)
