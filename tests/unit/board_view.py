"""A scenario as the board would show it: both projections replayed, everybody judged, the status made."""

from datetime import timedelta
from typing import Any

from contracts.board import Status
from contracts.duty import Qualification, RegisterStaff, StartDuty
from contracts.games import ConfigureField, InspectField
from contracts.park import OpenDay
from contracts.velocity import CheckChrono, RegisterChrono
from services.board.at_hand import AtHand
from services.board.model import status
from services.board.notes import ARRIVAL, NOTES
from services.board.verdicts import asked_fields, called_to, judge
from services.clearance.api import PROJECTION as CLEARANCE
from services.core.fold import Given
from tests.unit.scenario import NINE, Scenario
from tests.unit.test_clearance import HANDLERS, ready_player


def open_park() -> Scenario:
    """Ten past nine: birch is open with a referee, fern was not inspected; a first aider; p1 to p3 lack nothing."""
    park = Scenario(HANDLERS)
    park.when(OpenDay(opened=NINE.date()))
    park.when(ConfigureField(field="birch", title="Birch", capacity=20))
    park.when(ConfigureField(field="fern", title="Fern", limit_fps=260, stop_limit_fps=275))
    park.when(InspectField(field="birch", passed=True))
    until = NINE.date() + timedelta(days=1)
    for staff, post, field in (("s1", "referee", "birch"), ("s2", "first_aider", None)):
        park.when(RegisterStaff(staff=staff, qualifications=(Qualification(post=post, until=until),)))
        park.when(StartDuty(staff=staff, post=post, field=field))
    park.when(RegisterChrono(chrono="c1"))
    park.when(CheckChrono(chrono="c1", good=True))
    for number in (1, 2, 3):
        ready_player(park.at(number), number)
    return park.at(10)


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
