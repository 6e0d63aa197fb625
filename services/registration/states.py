"""What the desk remembers of the day: each player, the groups, the passes and armband numbers that are taken, and which fields and briefings there are."""

from datetime import date, datetime

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.games import FieldConfigured
from contracts.park import RulesAdopted
from contracts.registration import (
    AgeBandRenewed,
    BriefingHeld,
    GroupRegistered,
    GuardianLeft,
    MinorHandedOver,
    PassReissued,
    PlayerLeft,
    PlayerRegistered,
    PlayerReturned,
)
from contracts.rules import DEFAULT
from contracts.words import AgeBand, Part
from services.core.fold import Evolve, Fold
from services.registration.persons import Place, place_of


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
    adults_left: dict[str, tuple[Place, str | None]] = {}
    """When each adult who answered for him left, and whom that one named in his stead."""
    gone: Place | None = None
    returned: Place | None = None

    @property
    def left(self) -> bool:
        return self.gone is not None and (self.returned is None or self.returned < self.gone)


class Known(Struct, frozen=True):
    """Whether a group, or a field, has been recorded."""

    name: str
    known: bool = False


class Taken(Struct, frozen=True):
    """On which days a day pass or an armband number has named somebody, and whom."""

    name: str
    players: dict[str, str] = {}

    def on(self, day: date) -> str | None:
        return self.players.get(day.isoformat())


class Briefings(Struct, frozen=True):
    """The newest version of the safety briefing that the park has ever had."""

    newest: int = DEFAULT.briefing.version


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


def _grew(player: Player, event: Recorded[AgeBandRenewed]) -> Player:
    return replace(player, age_band=max(player.age_band, event.data.age_band))


def _reissued(player: Player, event: Recorded[PassReissued]) -> Player:
    data = event.data
    return replace(player, day_pass=data.day_pass, old_passes=(*player.old_passes, data.replaces))


def _briefed(player: Player, event: Recorded[BriefingHeld]) -> Player:
    return replace(player, briefings=tuple(sorted({*player.briefings, event.data.version})))


def _guardian_left(player: Player, event: Recorded[GuardianLeft]) -> Player:
    adult, place = event.data.guardian, place_of(event)
    before = player.adults_left.get(adult)
    if before is not None and before[0] > place:
        return player
    return replace(player, adults_left={**player.adults_left, adult: (place, event.data.responsible)})


def _left(player: Player, event: Recorded[PlayerLeft] | Recorded[MinorHandedOver]) -> Player:
    return replace(player, gone=max(place_of(event), player.gone or place_of(event)))


def _returned(player: Player, event: Recorded[PlayerReturned]) -> Player:
    latest = max(place_of(event), player.returned or place_of(event))
    return replace(player, returned=latest, here_since=latest[0])


def _known(subject: Known, _: Recorded[GroupRegistered] | Recorded[FieldConfigured]) -> Known:
    return replace(subject, known=True)


def _taken(taken: Taken, event: Recorded[PlayerRegistered] | Recorded[PassReissued]) -> Taken:
    return replace(taken, players={**taken.players, event.day.isoformat(): event.data.player})


def _adopted(briefings: Briefings, event: Recorded[RulesAdopted]) -> Briefings:
    return Briefings(max(briefings.newest, event.data.rules.briefing.version))


_PLAYER: dict[type[Data], Evolve[Player]] = {
    PlayerRegistered: _registered,
    AgeBandRenewed: _grew,
    PassReissued: _reissued,
    BriefingHeld: _briefed,
    GuardianLeft: _guardian_left,
    PlayerLeft: _left,
    MinorHandedOver: _left,
    PlayerReturned: _returned,
}
PLAYER: Fold[Player] = Fold("registration.player", "player", Player, _PLAYER)
GROUP: Fold[Known] = Fold("registration.group", "group", Known, {GroupRegistered: _known})
FIELD: Fold[Known] = Fold("registration.field", "field", Known, {FieldConfigured: _known})
PASS: Fold[Taken] = Fold("registration.pass", "pass", Taken, {PlayerRegistered: _taken, PassReissued: _taken})
ARMBAND: Fold[Taken] = Fold("registration.armband", "armband", Taken, {PlayerRegistered: _taken})
BRIEFINGS: Fold[Briefings] = Fold("registration.briefings", "rules", lambda _: Briefings(), {RulesAdopted: _adopted})
