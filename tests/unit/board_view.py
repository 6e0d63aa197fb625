"""A scenario as the board would show it: both projections replayed, everybody judged, the status made."""

from typing import Any

from contracts.board import Status
from services.board.at_hand import AtHand
from services.board.model import status
from services.board.notes import ARRIVAL, NOTES
from services.board.verdicts import asked_fields, called_to, judge
from services.clearance.api import PROJECTION as CLEARANCE
from services.core.fold import Given
from tests.unit.scenario import Scenario


def at_hand(park: Scenario) -> AtHand:
    given, arrivals = Given(), {}
    for projection in (CLEARANCE, NOTES):
        states: dict[str, Any] = {}
        projection.apply(park.events, states)
        for tag, values in states.items():
            prefix, _, subject = tag.partition(":")
            for fold, value in zip(projection.by_prefix[prefix], values, strict=True):
                given.put((fold, subject), value)
                if fold is ARRIVAL and subject.startswith(f"{park.moment().day}:") and value.player:
                    arrivals[value.player] = value
    called, moment = called_to(given), park.moment()
    verdicts = {
        player: judge(given, player, asked_fields(given, player, arrival, called), moment)
        for player, arrival in arrivals.items()
    }
    return AtHand(given, arrivals, verdicts, moment)


def shown(park: Scenario) -> Status:
    return status(at_hand(park), "larchmoor", 1)
