"""A simulated Saturday: twelve fields, 1,500 people in 300 groups; the rotation against first come first served by a good marshal, in one run.

What both see, and the rule by hand, stand in `saturday_callers`; the invented world in `saturday_world`. It is a simulation: what it shows is
how the two ways of calling compare on the same luck, not what any park will see.
"""

from collections import Counter
from itertools import pairwise

import numpy as np
from msgspec import Struct

from contracts.rules import DEFAULT, RotationRules
from tests.bench.figures import Figure
from tests.bench.ground import Ground
from tests.bench.history import Day as Played
from tests.bench.saturday_callers import Rotation, by_hand
from tests.bench.saturday_day import Day, run
from tests.bench.saturday_ranges import Forecast, at_the_stations, compared, coverage, of_the_games
from tests.bench.saturday_stations import journeys
from tests.bench.saturday_world import FEWEST, LAST_START, REST, World, world

SEED = 1
TAIL = 0.95


class Compared(Struct, frozen=True):
    """One day, twice."""

    world: World
    by_hand: Day
    rotation: Day
    seconds: tuple[float, ...]
    """Of processor time, for each plan."""
    of_games: tuple[Forecast, ...]
    of_stations: tuple[Forecast, ...]


def saturday(seed: int, share: float = 1.0, rules: RotationRules = DEFAULT.games.rotation) -> Compared:
    """Both ways over the same day."""
    day = world(seed, share)
    ways = journeys(day)
    rotation = Rotation(day, ways, rules)
    ours = run(day, ways, rotation, recorded=True)
    told = [(now, of_the_games(now, made, ours.games, seed + round(now))) for now, made in rotation.looks]
    leaves = {group.name: min(LAST_START, ways.ready[group.name] + group.stays) for group in day.groups}
    return Compared(
        world=day,
        by_hand=run(day, ways, by_hand, recorded=False),
        rotation=ours,
        seconds=tuple(rotation.seconds),
        of_games=tuple(compared(told, ours, leaves)),
        of_stations=tuple(at_the_stations(day, ways)),
    )


def waited(day: Day) -> float:
    """Minutes that nineteen of twenty players waited at most for a game, or for going home without one more. Private sessions have their field."""
    found = [wait for wait in day.waits if wait.group.session is None]
    minutes = np.repeat([wait.minutes for wait in found], [wait.group.size for wait in found])
    return float(np.quantile(minutes, TAIL))


def games_played(day: Day) -> int:
    """Games, counted for each player who was in one."""
    return sum(game.players for game in day.games)


def idle(day: Day, fields: int) -> float:
    """Field minutes in which nobody played and no break was taken."""
    return fields * LAST_START - sum(game.free - game.starts for game in day.games)


def faults(found: Compared) -> list[str]:
    """What must never be on a game list of the rotation: who is not cleared, who does not fit the field, too many, half a group, or somebody in two games or without a rest."""
    groups = {group.name: group for group in found.world.groups}
    grounds = {ground.name: ground for ground in found.world.grounds}
    told = [f"{name} was called and not cleared" for name in found.rotation.not_cleared]
    last = dict[str, float]()
    for game in sorted(found.rotation.games, key=lambda one: one.starts):
        ground = grounds[game.field]
        if game.players > ground.places or game.players != sum(groups[name].size for name in game.groups):
            told.append(
                f"{game.field} at {game.starts:.0f}: {game.players} players on {ground.places} places, or a group in part"
            )
        for name, often in Counter(game.groups).items():
            private = groups[name].session is not None
            if often > 1 or not groups[name].fits(ground):
                told.append(f"{game.field} at {game.starts:.0f}: {name} twice, or where it may not play")
            if game.called < last.get(name, 0.0) + (0.0 if private else REST):
                told.append(f"{game.field} at {game.starts:.0f}: {name} has not rested")
            last[name] = game.ends
        if game.players < FEWEST and not any(groups[name].session for name in game.groups):
            told.append(f"{game.field} at {game.starts:.0f}: {game.players} are too few")
    for field in grounds:
        games = sorted((game for game in found.rotation.games if game.field == field), key=lambda one: one.starts)
        told += [
            f"{field}: two games at {after.called:.0f}" for one, after in pairwise(games) if after.called < one.free
        ]
    return told


async def measure(_here: Ground, _day: Played) -> list[Figure]:
    found = saturday(SEED)
    if wrong := faults(found):
        raise AssertionError("\n".join(wrong))
    fields, against = len(found.world.grounds), "first come first served by hand, on the same day"
    return [
        Figure(
            name="saturday_waiting",
            what="minutes that 19 of 20 players wait for a game at most, by the rotation",
            against=against,
            unit="min",
            value=waited(found.rotation),
            reference=waited(found.by_hand),
            goal=1.0,
            at_most=True,
        ),
        Figure(
            name="saturday_games",
            what="games played on a simulated Saturday, counted for each player, by the rotation",
            against=against,
            unit="",
            value=games_played(found.rotation),
            reference=games_played(found.by_hand),
            goal=1.0,
        ),
        Figure(
            name="saturday_idle",
            what="minutes in which a field stood idle, by the rotation",
            against=against,
            unit="min",
            value=idle(found.rotation, fields),
            reference=idle(found.by_hand, fields),
            goal=1.0,
            at_most=True,
        ),
        Figure(
            name="saturday_plan",
            what=f"the slowest of {len(found.seconds)} plans, in processor time",
            against="one second",
            unit="s",
            value=max(found.seconds),
            reference=1.0,
            goal=1.0,
            at_most=True,
        ),
        *(
            Figure(
                name=f"saturday_told_{name}",
                what=f"how often the truth lay within the range that was told, {about}, of {len(told)}",
                against="the confidence that was stated with it",
                unit="",
                value=coverage(told),
                reference=DEFAULT.waits.confidence,
                goal=0.95,
            )
            for name, about, told in (
                ("games", "until a group plays", found.of_games),
                ("stations", "until a group is served at a station", found.of_stations),
            )
        ),
    ]
