"""The wait at each station, as a range; what the line comes to if things go on so; and what would help."""

from collections.abc import Sequence
from datetime import timedelta
from math import isfinite
from typing import Final

import numpy as np

from contracts.board import Range, StationName
from contracts.rules import StationPrior, WaitRules
from contracts.waits import InLine, StationWait
from services.board.at_hand import AtHand
from services.board.waits import line as lines
from services.board.waits.erlang import mean_wait
from services.board.waits.foretelling import Floats, Turning, at_work, begins
from services.board.waits.ranges import ranged
from services.board.waits.telling import helping, telling
from services.board.waits.timing import timed
from services.board.waits.turns import SERVED, TURNS, Turns
from services.registration.states import PLAYER

MINUTE: Final = timedelta(minutes=1)


def station_waits(at_hand: AtHand) -> dict[StationName, StationWait]:
    """Every station at which turns are recorded."""
    return {name: _one(at_hand, name) for name in SERVED}


def prior_of(station: StationName, rules: WaitRules) -> StationPrior:
    found: StationPrior = getattr(rules, station.replace(" ", "_"))
    return found


def _one(at_hand: AtHand, station: StationName) -> StationWait:
    moment, rules = at_hand.moment, at_hand.moment.rules.waits
    turns = at_hand.given.of(TURNS, station)
    if turns.day != moment.day:
        turns = Turns(station)
    today = timed(turns.done, lines.due(at_hand, station), rules)
    turning = Turning(today, prior_of(station, rules), seed=SERVED.index(station) + len(SERVED) * moment.position)
    stood = lines.in_line(at_hand, station)
    waiting, elapsed = list(stood), at_work(turning, _idle(at_hand, turns), list(stood.values()))
    come = lines.joined(at_hand, station, moment.now - rules.arrivals_minutes * MINUTE) / rules.arrivals_minutes
    pace = 1 / turning.minutes_a_head
    steady = mean_wait(come, pace, len(elapsed)) if elapsed else None
    begun = begins(turning, len(waiting), elapsed) if elapsed else None
    wait = None if begun is None else ranged(begun[:, -1], rules.confidence)
    return StationWait(
        waiting=len(waiting),
        servers=len(elapsed),
        served=turns.heads,
        turns=len(today),
        minutes_a_head=round(turning.minutes_a_head, 2),
        joined_a_minute=round(come, 2),
        utilisation=round(come / (pace * len(elapsed)), 2) if elapsed else None,
        steady_minutes=round(steady, 1) if steady is not None and isfinite(steady) else None,
        wait=wait,
        line=() if begun is None else tuple(_in_line(at_hand, waiting, begun)),
        says=telling(station, len(waiting), wait, come, pace * len(elapsed)),
        helps=helping(station, len(elapsed), *_with_one_more(turning, len(waiting), elapsed, wait), rules),
    )


def _idle(at_hand: AtHand, turns: Turns) -> list[float]:
    """For each server of these minutes, how long ago it ended a turn, or opened a string."""
    ago = sorted((at_hand.moment.now - one.turn.last) / MINUTE for one in turns.serving.values())
    return [max(0.0, one) for one in ago if one <= at_hand.moment.rules.waits.serving_minutes]


def _with_one_more(
    turning: Turning, waiting: int, elapsed: Sequence[float], wait: Range | None
) -> tuple[float | None, float]:
    """The likely wait as it is, and with one more server; None where nobody serves."""
    begun = begins(turning, waiting, elapsed, more=1)
    return (None if wait is None else wait.likely), float(np.median(begun[:, -1]))


def _in_line(at_hand: AtHand, waiting: Sequence[str], begun: Floats) -> list[InLine]:
    """Groups by where the first of them stands."""
    places: dict[str, list[int]] = {}
    for place, player in enumerate(waiting):
        group = at_hand.given.of(PLAYER, player).group
        places.setdefault(f"group:{group}" if group else player, []).append(place)
    confidence = at_hand.moment.rules.waits.confidence
    return [
        InLine(
            heads=len(found),
            first=ranged(begun[:, found[0]], confidence),
            last=ranged(begun[:, found[-1]], confidence),
            group=name.partition(":")[2] if name.startswith("group:") else None,
            armband=None if name.startswith("group:") else at_hand.armband(name).number,
        )
        for name, found in places.items()
    ]
