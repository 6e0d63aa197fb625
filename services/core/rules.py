"""The fold of the park rules: the version in force, or the reason why it cannot be read."""

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from msgspec import Struct

from contracts.envelope import Data, Recorded, Unknown
from contracts.park import RulesAdopted
from contracts.rules import DEFAULT, Rules
from services.core.fold import Evolve, Fold

NIGHT = timedelta(hours=4)
"""An operating day runs from four in the morning, park time."""


class RulesInForce(Struct, frozen=True):
    rules: Rules = DEFAULT
    unreadable: bool = False
    """A version was adopted that this software cannot read: nobody is cleared under it."""


def _adopted(_: RulesInForce, event: Recorded[RulesAdopted]) -> RulesInForce:
    return RulesInForce(event.data.rules)


def _unreadable(before: RulesInForce, _: Recorded[Any]) -> RulesInForce:
    return RulesInForce(before.rules, unreadable=True)


_EVOLVES: dict[type[Data], Evolve[RulesInForce]] = {RulesAdopted: _adopted, Unknown: _unreadable}
RULES: Fold[RulesInForce] = Fold("rules", "rules", lambda _: RulesInForce(), _EVOLVES)


def operating_day(rules: Rules, moment: datetime) -> date:
    """The operating day that a moment belongs to, by the park's own clock."""
    return (moment.astimezone(ZoneInfo(rules.time_zone)) - NIGHT).date()
