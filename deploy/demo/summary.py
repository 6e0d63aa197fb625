"""What the day came to, counted from the log and nothing else."""

from collections import Counter
from typing import Any

from msgspec import Struct

from contracts import leaf
from contracts.discipline import CautionRecorded
from contracts.envelope import Recorded
from contracts.games import GameEnded, GameStarted
from contracts.registration import PlayerRegistered
from contracts.velocity import MarkerSpotChecked, MarkerTested
from services.clearance.model import FOLDS, rotations_of
from services.core.command import Moment
from services.core.fold import Given
from services.core.folds import Folds
from services.core.log import Log
from services.core.rules import RULES, operating_day
from services.discipline.standing import Standing, standing
from services.discipline.states import RECORD

BATCH = 1000


class Summary(Struct, frozen=True):
    """The last line of `deploy/run --once`."""

    players: int
    cleared: int
    """Players who were admitted to at least one game."""
    games: int
    """Games that were played in full."""
    readings: int
    cautions: int
    sit_outs_served: int
    ejections: int
    events: int
    projections_match_log: bool


async def summary(log: Log, *, projections_match_log: bool) -> Summary:
    """Count the day from the log's first event to its last."""
    recorded = await _events(log)
    found: Counter[str] = Counter()
    players: list[str] = []
    admitted: set[str] = set()
    for event in recorded:
        match event.data:
            case PlayerRegistered(player=player):
                players.append(player)
            case GameStarted(entrants=entrants):
                admitted.update(entrant.player for entrant in entrants)
            case GameEnded(full=True):
                found["games"] += 1
            case MarkerTested(readings_fps=readings):
                found["readings"] += len(readings)
            case MarkerSpotChecked():
                found["readings"] += 1
            case CautionRecorded(weight=weight) if weight:
                found["cautions"] += 1
    standings = _standings(recorded, players)
    return Summary(
        players=len(players),
        cleared=len(admitted),
        games=found["games"],
        readings=found["readings"],
        cautions=found["cautions"],
        sit_outs_served=sum(one.sit_outs_served for one in standings),
        ejections=sum(one.ejected for one in standings),
        events=len(recorded),
        projections_match_log=projections_match_log,
    )


async def _events(log: Log) -> list[Recorded[Any]]:
    found: list[Recorded[Any]] = []
    while rows := await log.tail(len(found), BATCH):
        found += [leaf.decode(row.leaf) for row in rows]
    return found


def _standings(recorded: list[Recorded[Any]], players: list[str]) -> list[Standing]:
    """Every player's standing after the last event."""
    if not recorded:
        return []
    folds = Folds("summary", FOLDS)
    states: dict[str, Any] = {}
    folds.apply(recorded, states)
    given, last = folds.given(states), recorded[-1]
    rules = given.of(RULES, "").rules
    moment = Moment(
        now=last.recorded_at,
        occurred_at=last.recorded_at,
        day=operating_day(rules, last.recorded_at),
        rules=rules,
        position=last.position,
    )
    return [_standing(given, player, moment) for player in players]


def _standing(given: Given, player: str, moment: Moment) -> Standing:
    rotations, stops = rotations_of(given, player)
    return standing(given.of(RECORD, player), rotations, moment, stops)
