"""The fields of the invented Saturday, run event by event under either way of calling games.

A game is called where a field is free. At the gate it waits up to five minutes for stragglers and for who is not cleared; then it starts
without them. Whoever was left comes back to staging once all of him is there, or what he lacked is done.
"""

from collections.abc import Callable, Iterable
from heapq import heappop, heappush
from itertools import count
from math import inf

from msgspec import Struct

from tests.bench.saturday_stations import Journeys
from tests.bench.saturday_world import FEWEST, LAST_START, LONGEST_AT_GATE, REST, Ground, Group, World

BREAK = 7.0
"""Minutes that a break is planned with; the true ones take five to ten."""
TICK = 5.0


class Standing(Struct):
    """A group on the day. What can be seen: whether it is `here`, since when it waits, its games, where it plays and until when that is planned.

    `lacking` is what the record knows and no marshal sees: so many minutes would clear it, once it is told.
    """

    group: Group
    leaves: float
    here: bool = False
    since: float = inf
    played: int = 0
    calls: int = 0
    lacking: float = 0.0
    clearing: bool = False
    looked_at: bool = False
    back: float = inf
    """When it is expected at staging, as far as anybody knows."""


class Played(Struct, frozen=True):
    """One game as it was. `free`: when the break after it was over; `minutes`: as planned."""

    field: str
    called: float
    starts: float
    ends: float
    free: float
    minutes: float
    groups: tuple[str, ...]
    players: int


class Wait(Struct, frozen=True):
    """How long a group waited, from being there and rested until its game began, or until it went home."""

    group: Group
    since: float
    minutes: float


class Park(Struct):
    """What can be seen at a moment, by whoever calls the games."""

    world: World
    now: float
    groups: dict[str, Standing]
    free_at: dict[str, float]
    """For each field, when its break is planned to be over, or since when it is free."""
    busy: set[str]
    held: set[str]


Calls = Iterable[tuple[Ground, tuple[str, ...]]]
Caller = Callable[[Park], Calls]
"""Which games are called now: on fields that are free, each with its groups."""


class Day(Struct):
    games: list[Played]
    waits: list[Wait]
    not_cleared: list[str]
    """Groups that were called and found not cleared, or not at staging at all."""


def run(world: World, journeys: Journeys, caller: Caller, *, recorded: bool) -> Day:
    """A whole day. `recorded`: what a group lacks is on record, so it is told at staging; else the gate finds it."""
    saturday = _Saturday(world, journeys, caller, recorded=recorded)
    saturday.go()
    return saturday.day


class _Saturday:
    def __init__(self, world: World, journeys: Journeys, caller: Caller, *, recorded: bool) -> None:
        self.caller, self.recorded, self.world = caller, recorded, world
        ready = journeys.ready
        groups = {one.name: Standing(one, min(LAST_START, ready[one.name] + one.stays)) for one in world.groups}
        fields = [ground.name for ground in world.grounds]
        self.park = Park(world, 0.0, groups, dict.fromkeys(fields, 0.0), set(), set())
        self.day = Day([], [], [])
        self._events: list[tuple[float, int, Callable[[str], None], str]] = []
        self._order = count()
        self._games = dict.fromkeys(fields, 0)
        for name, at in ready.items():
            self._at(at, self._here, name)
            self._at(groups[name].leaves, self._look, name)
        self._at(world.hold.begins, self._held, world.hold.field)
        self._at(world.hold.ends, self._lifted, world.hold.field)
        for look in range(int(LAST_START / TICK) + 1):
            self._at(look * TICK, self._look, "")

    def go(self) -> None:
        while self._events and self._events[0][0] <= LAST_START:
            self.park.now = self._events[0][0]
            while self._events and self._events[0][0] <= self.park.now:
                _, _, happens, name = heappop(self._events)
                happens(name)
            self._go_home()
            if self.park.now < LAST_START:
                for ground, names in self.caller(self.park):
                    self._call(ground, names)

    def _at(self, when: float, happens: Callable[[str], None], name: str) -> None:
        heappush(self._events, (when, next(self._order), happens, name))

    def _look(self, _: str) -> None:
        """Time passes."""

    def _here(self, name: str) -> None:
        """A group is at staging, rested. What it lacks is told where it is on record."""
        one, now = self.park.groups[name], self.park.now
        if now >= one.leaves:
            return
        one.here, one.clearing, one.since = True, False, min(one.since, now)
        if not one.looked_at:
            one.looked_at, one.lacking = True, self.world.lacks(name, one.played)
            if one.lacking and self.recorded:
                self._sent(one, one.lacking, clearing=True)

    def _sent(self, one: Standing, minutes: float, *, clearing: bool) -> None:
        """Away from staging for so long."""
        one.here, one.clearing, one.back = False, clearing, inf if clearing else self.park.now + BREAK
        one.lacking = 0.0 if clearing else one.lacking
        self._at(self.park.now + minutes, self._here, one.group.name)

    def _free(self, field: str) -> None:
        self.park.busy.discard(field)
        self.park.free_at[field] = self.park.now

    def _held(self, field: str) -> None:
        self.park.held.add(field)

    def _lifted(self, field: str) -> None:
        self.park.held.discard(field)
        if field in self.park.busy:
            self.park.free_at[field] += self.world.hold.ends - self.world.hold.begins

    def _go_home(self) -> None:
        """Who has stayed long enough goes, and the last wait counts, too."""
        for one in self.park.groups.values():
            if one.leaves <= self.park.now and one.since < inf:
                self.day.waits.append(Wait(one.group, one.since, one.leaves - one.since))
                one.here, one.since, one.back = False, inf, inf

    def _call(self, ground: Ground, names: tuple[str, ...]) -> None:
        """The gate: who is not there, or not cleared, is waited for up to five minutes, and then left."""
        park, now = self.park, self.park.now
        late: dict[str, float] = {}
        for name in names:
            one = park.groups[name]
            one.calls += 1
            if one.lacking or not one.here:
                self.day.not_cleared.append(name)
            late[name] = max(self.world.straggles(name, one.calls), one.lacking)
        start = now + min(LONGEST_AT_GATE, max(late.values()))
        inside = [park.groups[name] for name in names if late[name] <= LONGEST_AT_GATE]
        for name in names:
            if late[name] > LONGEST_AT_GATE:
                self._sent(park.groups[name], late[name], clearing=park.groups[name].lacking > 0)
        park.busy.add(ground.name)
        if sum(one.group.size for one in inside) < FEWEST and not any(one.group.session for one in inside):
            park.free_at[ground.name] = start
            self._at(start, self._free, ground.name)
        else:
            self._play(ground, now, start, inside)

    def _play(self, ground: Ground, called: float, start: float, inside: list[Standing]) -> None:
        park, hold = self.park, self.world.hold
        number = self._games[ground.name] = self._games[ground.name] + 1
        ends = start + ground.minutes + self.world.overrun(ground.name, number)
        if hold.field == ground.name and start < hold.ends and ends > hold.begins:
            ends += hold.ends - max(hold.begins, start)
        free = ends + self.world.pause(ground.name, number)
        park.free_at[ground.name] = start + ground.minutes + BREAK
        self._at(free, self._free, ground.name)
        for one in inside:
            self.day.waits.append(Wait(one.group, one.since, start - one.since))
            one.here, one.since, one.played, one.lacking, one.looked_at = False, inf, one.played + 1, 0.0, False
            one.back = start + ground.minutes + REST
            self._at(ends + (BREAK if one.group.session else REST), self._here, one.group.name)
        groups, players = tuple(one.group.name for one in inside), sum(one.group.size for one in inside)
        self.day.games.append(Played(ground.name, called, start, ends, free, ground.minutes, groups, players))
