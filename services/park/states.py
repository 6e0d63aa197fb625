"""What the park's office remembers: the open day, every version of the rules that was ever adopted, and the weather that may stop play."""

from datetime import date, datetime

from msgspec import Struct

from contracts.envelope import Data, Recorded
from contracts.park import DayOpened, FlashSeen, RulesAdopted, ThunderHeard, WeatherRecorded
from contracts.rules import DEFAULT, Rules
from services.core.fold import Evolve, Fold

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Today(Struct, frozen=True):
    opened: date | None = None


class Versions(Struct, frozen=True):
    """Versions of the rules in the order of their first adoption, and the one in force."""

    known: tuple[Rules, ...] = (DEFAULT,)
    in_force: str = DEFAULT.version

    def version(self, name: str) -> Rules | None:
        return next((rules for rules in self.known if rules.version == name), None)


class Lightning(Struct, frozen=True):
    """The last flash or thunder, near or far, by when it happened. No new day forgets it: a storm keeps no hours."""

    last: datetime | None = None


class Heat(Struct, frozen=True):
    """The open day's latest record of the weather that says anything of the heat: a temperature alone says nothing."""

    weather: WeatherRecorded | None = None
    place: Place | None = None
    opened: date | None = None

    def superseded(self, day: date, happened: datetime) -> bool:
        """Whether something newer is known than what was measured on a day at a moment; what is told of an earlier day is."""
        if self.opened is not None and day < self.opened:
            return True
        return self.place is not None and happened < self.place[0]


def _opened(_: Today, event: Recorded[DayOpened]) -> Today:
    return Today(event.data.opened)


def _adopted(versions: Versions, event: Recorded[RulesAdopted]) -> Versions:
    rules = event.data.rules
    known = versions.known if versions.version(rules.version) else (*versions.known, rules)
    return Versions(known, rules.version)


def _lightning(lightning: Lightning, event: Recorded[ThunderHeard] | Recorded[FlashSeen]) -> Lightning:
    return Lightning(max(event.occurred_at, lightning.last or event.occurred_at))


def _heat(heat: Heat, event: Recorded[WeatherRecorded]) -> Heat:
    data = event.data
    unmeasured = data.humidity_percent is None and data.wet_bulb_globe is None
    if unmeasured or heat.superseded(event.day, event.occurred_at):
        return heat
    return Heat(data, (event.occurred_at, event.position), heat.opened)


def _cooled(_: Heat, event: Recorded[DayOpened]) -> Heat:
    return Heat(opened=event.data.opened)


_TODAY: dict[type[Data], Evolve[Today]] = {DayOpened: _opened}
_VERSIONS: dict[type[Data], Evolve[Versions]] = {RulesAdopted: _adopted}
TODAY: Fold[Today] = Fold("park.today", "park", lambda _: Today(), _TODAY)
VERSIONS: Fold[Versions] = Fold("park.versions", "rules", lambda _: Versions(), _VERSIONS)
LIGHTNING: Fold[Lightning] = Fold(
    "park.lightning", "lightning", lambda _: Lightning(), {ThunderHeard: _lightning, FlashSeen: _lightning}
)
HEAT: Fold[Heat] = Fold("park.heat", "park", lambda _: Heat(), {DayOpened: _cooled, WeatherRecorded: _heat})
