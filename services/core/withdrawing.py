"""What was recorded by mistake: whoever did it may withdraw it himself for some minutes, and whoever answers for the field at any time.

Nothing is deleted: the withdrawal is an event of its own. A person is known by the device that he holds.
"""

from datetime import datetime, timedelta
from typing import Final

from msgspec import Struct

from contracts.problems import RuleForbids
from contracts.words import Role
from services.core.command import Moment

ANYTIME: Final[frozenset[Role]] = frozenset({"head_referee", "manager"})


class Noted(Struct, frozen=True):
    """Something that a device recorded, on a field as a rule, and whether it was withdrawn."""

    device: str
    at: datetime
    field: str = ""
    game: str | None = None
    voided: bool = False


def may_withdraw(noted: Noted, moment: Moment) -> bool:
    """Whether this device may withdraw it now."""
    own = noted.device == moment.device
    in_time = moment.occurred_at - noted.at <= timedelta(minutes=moment.rules.games.undo_minutes)
    return bool(moment.roles & ANYTIME) or (own and in_time)


def must_be_withdrawable(noted: Noted, what: str, moment: Moment) -> None:
    """Raises RuleForbids where another device recorded it, or its minutes are over."""
    if not may_withdraw(noted, moment):
        raise RuleForbids(
            f"{what} is withdrawn by the device that recorded it, within {moment.rules.games.undo_minutes:g} minutes, or by the head referee "
            "or a manager. Ask one of them."
        )
