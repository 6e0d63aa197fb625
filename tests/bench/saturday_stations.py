"""The stations of the invented Saturday: who came, when each was served, and what the record knew of it at any moment.

Each station serves in order of coming, with so many servers; a group goes on once all of it were served. The briefing takes whoever stands there.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from heapq import heappop, heappush

from msgspec import Struct

from services.board.waits.turns import Turn
from tests.bench.saturday_world import GROUPS, Group, World
from tests.unit.scenario import NINE

SERVERS = {"desk": 6, "briefing": 3, "gear counter": 6, "chronograph": 1}
"""On the whole day; a small one has its share of them, one at least."""
WALK = 1.0
SEATS = 30


class Served(Struct, frozen=True):
    """One turn at a station: whom, and for how many of the group."""

    group: str
    heads: int
    came: float
    begins: float
    ends: float
    server: str

    @property
    def turn(self) -> Turn:
        """As the record has it: strings are opened, everything else is recorded when it is done."""
        first = self.begins if self.server.startswith("chronograph") else self.ends
        return Turn(
            self.server, moment(first), moment(self.ends), f"player:{self.group}", self.heads, first < self.ends
        )


class Journeys(Struct, frozen=True):
    """Each station's turns, in order of their beginning; and when each group had everything done."""

    turns: dict[str, tuple[Served, ...]]
    ready: dict[str, float]
    steps: dict[str, tuple[float, ...]]
    """For each group, when each station was done with it."""


def moment(minutes: float) -> datetime:
    return NINE + timedelta(minutes=minutes)


def journeys(world: World) -> Journeys:
    """Everybody's way through desk, briefing, gear counter and chronograph, in this order."""
    came = {group.name: group.comes for group in world.groups}
    done: dict[str, list[float]] = {name: [] for name in came}
    turns = {}
    for station in SERVERS:
        line = sorted(came.items(), key=lambda one: (one[1], one[0]))
        served = list(_served(world, station, line))
        turns[station] = tuple(sorted(served, key=lambda one: (one.begins, one.ends)))
        for one in served:
            came[one.group] = max(came[one.group], one.ends + WALK)
        for name, at in came.items():
            done[name].append(at - WALK)
    return Journeys(turns, came, {name: tuple(steps) for name, steps in done.items()})


def _served(world: World, station: str, line: Sequence[tuple[str, float]]) -> Iterator[Served]:
    groups = {group.name: group for group in world.groups}
    servers = max(1, round(SERVERS[station] * len(world.groups) / GROUPS))
    free = [(0.0, number) for number in range(servers)]
    if station == "briefing":
        yield from _briefed(world, groups, list(line), free)
        return
    for name, came in line:
        for number, heads in enumerate(_heads(station, groups[name])):
            at, server = heappop(free)
            begins = max(at, came)
            ends = begins + _minutes(world, station, name, number, heads)
            heappush(free, (ends, server))
            yield Served(name, heads, came, begins, ends, f"{station} {server + 1}")


def _heads(station: str, group: Group) -> tuple[int, ...]:
    """The desk takes a group at once, the counter one by one, the bench only markers of one's own."""
    if station == "desk":
        return (group.size,)
    return (1,) * (group.size if station == "gear counter" else group.own_markers)


def _minutes(world: World, station: str, group: str, number: int, heads: int) -> float:
    chance = world.drawn(station, group, number)
    mean = {"desk": 1.5 + 0.5 * heads, "gear counter": 1.0, "chronograph": 1.8}[station]
    return chance.gammavariate(4.0, mean / 4.0)


def _briefed(
    world: World, groups: dict[str, Group], line: list[tuple[str, float]], free: list[tuple[float, int]]
) -> Iterator[Served]:
    """A briefing begins when a briefer is free and somebody stands there; whole groups while there are seats, one that is larger by itself."""
    while line:
        at, server = heappop(free)
        begins = max(at, line[0][1])
        minutes, seats = world.drawn("briefing", line[0][0]).uniform(8.0, 13.0), SEATS
        taken = []
        for name, came in line:
            if came > begins or (taken and groups[name].size > seats):
                break
            taken.append((name, came))
            seats -= groups[name].size
        del line[: len(taken)]
        heappush(free, (begins + minutes, server))
        for name, came in taken:
            yield Served(name, groups[name].size, came, begins, begins + minutes, f"briefing {server + 1}")
