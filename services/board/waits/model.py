"""A park's waits: at each station, and until one plays."""

from typing import Final

from msgspec.structs import replace

from contracts.board import Play, Status
from contracts.waits import Waits
from services.board.at_hand import AtHand
from services.board.waits.plays import plays
from services.board.waits.stations import station_waits

SHOWN: Final = 6
"""Groups that the wall tells when they play."""


def waits(at_hand: AtHand, park: str, epoch: int) -> Waits:
    """As of the moment and position of what is at hand."""
    moment = at_hand.moment
    return Waits(
        park=park,
        day=moment.day,
        as_of=moment.now,
        epoch=epoch,
        position=moment.position,
        confidence=moment.rules.waits.confidence,
        stations=station_waits(at_hand),
        plays=plays(at_hand),
    )


def on_the_wall(status: Status, made: Waits) -> Status:
    """A status with the waits on it."""
    stations = {
        name: replace(station, wait=found.wait, helps=found.helps)
        if (found := made.stations.get(name)) is not None
        else station
        for name, station in status.stations.items()
    }
    return replace(status, stations=stations, plays=_soon(made))


def _soon(made: Waits) -> tuple[Play, ...]:
    """Groups only: who came alone looks for his armband at the fields."""
    found = (
        Play(group=name, title=one.title, starts=one.starts)
        for name, one in made.plays.items()
        if one.starts is not None and one.title is not None and not name.startswith("armband:")
    )
    return tuple(sorted(found, key=lambda one: (one.starts.likely, one.group))[:SHOWN])
