"""Who stands at a station, and since when; and how many joined its line lately."""

from datetime import datetime

from contracts.board import StationName
from services.board.at_hand import AtHand
from services.board.notes import Arrival
from services.board.waits.timing import Due
from services.equipment.kit import KIT
from services.registration.states import PLAYER


def in_line(at_hand: AtHand, station: StationName) -> dict[str, float]:
    """Whose first missing thing is done at this station, with the minutes that he has stood there: the longest first."""
    now = at_hand.moment.now
    here = (player for player, verdict in at_hand.verdicts.items() if verdict.station == station)
    stood = {player: (now - (_stood(at_hand, station, player) or now)).total_seconds() / 60 for player in here}
    return dict(sorted(stood.items(), key=lambda one: (-one[1], at_hand.armband(one[0]).number, one[0])))


def joined(at_hand: AtHand, station: StationName, after: datetime) -> int:
    """How many came to stand at a station after a moment, wherever they are now."""
    found = (_stood(at_hand, station, player) for player in at_hand.arrivals if _needs(at_hand, station, player))
    return sum(at is not None and at > after for at in found)


def due(at_hand: AtHand, station: StationName) -> Due:
    """Since when whoever a turn served stood there. At the desk nobody knows: he was not registered yet."""
    carriers = {
        f"marker:{marker}": player for player in at_hand.arrivals for marker in at_hand.given.of(KIT, player).markers
    }

    def asked(whom: str, before: datetime) -> datetime | None:
        player = carriers.get(whom, whom.partition(":")[2])
        arrival = at_hand.arrivals.get(player)
        return None if arrival is None or station == "desk" else _came(arrival, station, before)

    return lambda turn: asked(turn.whom, turn.last)


def _came(arrival: Arrival, station: StationName, before: datetime) -> datetime | None:
    """When the stations before this one were done with him."""
    return max((at for name, at in arrival.steps.items() if name != station and at <= before), default=None)


def _stood(at_hand: AtHand, station: StationName, player: str) -> datetime | None:
    if station == "desk":
        return at_hand.given.of(PLAYER, player).here_since
    arrival = at_hand.arrivals[player]
    return _came(arrival, station, arrival.steps.get(station, at_hand.moment.now))


def _needs(at_hand: AtHand, station: StationName, player: str) -> bool:
    arrival, verdict = at_hand.arrivals[player], at_hand.verdicts.get(player)
    if station == "chronograph" and "gear counter" in arrival.steps:
        return bool(at_hand.given.of(KIT, player).markers)
    return station in arrival.steps or (verdict is not None and verdict.station == station)
