"""Leaving: a player goes and may come back the same day; a minor is handed to an adult."""

from collections.abc import Iterable

from contracts.envelope import Data
from contracts.problems import NotInThatState, RuleForbids
from contracts.registration import (
    HandOverMinor,
    MinorHandedOver,
    PlayerLeft,
    PlayerReturned,
    RecordLeft,
    RecordReturn,
)
from services.core.command import Moment
from services.core.fold import Given
from services.registration.known import known_player, must_know_adult
from services.registration.model import is_minor


def record_left(command: RecordLeft, given: Given, moment: Moment) -> Iterable[Data]:
    """A minor does not just leave: it is handed to a named adult."""
    if is_minor(known_player(given, command.player).age_band, moment.rules):
        raise RuleForbids(
            f"Player {command.player} is a minor: stay with the child, and record to which adult it is handed over.",
            where="$.player",
        )
    return [PlayerLeft(player=command.player)]


def hand_over_minor(command: HandOverMinor, given: Given, moment: Moment) -> Iterable[Data]:
    if not is_minor(known_player(given, command.player).age_band, moment.rules):
        raise RuleForbids(f"Player {command.player} is of age: record that he left.", where="$.player")
    must_know_adult(given, command.adult, moment, "Adult")
    return [MinorHandedOver(player=command.player, adult=command.adult)]


def record_return(command: RecordReturn, given: Given, moment: Moment) -> Iterable[Data]:
    player = known_player(given, command.player)
    if player.gone is None or not player.left or player.day != moment.day:
        raise NotInThatState(
            f"Player {command.player} is not recorded as having left today. On another day register him anew.",
            where="$.player",
        )
    if moment.occurred_at < player.gone[0]:
        raise NotInThatState(
            f"Player {command.player} left at {player.gone[0]:%H:%M} UTC, after the return you record. "
            "Record when he came back from that.",
            where="$.occurred_at",
        )
    return [PlayerReturned(player=command.player)]
