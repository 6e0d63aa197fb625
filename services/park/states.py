"""What the park's office remembers: the day that is open, and every version of the rules that was ever adopted."""

from datetime import date

from msgspec import Struct

from contracts.envelope import Data, Recorded
from contracts.park import DayOpened, RulesAdopted
from contracts.rules import DEFAULT, Rules
from services.core.fold import Evolve, Fold


class Today(Struct, frozen=True):
    opened: date | None = None


class Versions(Struct, frozen=True):
    """Versions of the rules in the order of their first adoption, and the one in force."""

    known: tuple[Rules, ...] = (DEFAULT,)
    in_force: str = DEFAULT.version

    def version(self, name: str) -> Rules | None:
        return next((rules for rules in self.known if rules.version == name), None)


def _opened(_: Today, event: Recorded[DayOpened]) -> Today:
    return Today(event.data.opened)


def _adopted(versions: Versions, event: Recorded[RulesAdopted]) -> Versions:
    rules = event.data.rules
    known = versions.known if versions.version(rules.version) else (*versions.known, rules)
    return Versions(known, rules.version)


_TODAY: dict[type[Data], Evolve[Today]] = {DayOpened: _opened}
_VERSIONS: dict[type[Data], Evolve[Versions]] = {RulesAdopted: _adopted}
TODAY: Fold[Today] = Fold("park.today", "park", lambda _: Today(), _TODAY)
VERSIONS: Fold[Versions] = Fold("park.versions", "rules", lambda _: Versions(), _VERSIONS)
