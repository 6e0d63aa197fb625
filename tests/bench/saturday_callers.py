"""Two ways to call the games of the invented Saturday. Both see only what can be seen at the moment.

By hand: when a field is free, its marshal takes the groups that stand at staging, in order of when they came there, or came back; those
that may play there, until the next one has no room any more. That is how a good marshal does it: nobody is passed over for being awkward,
and no field waits while six who may play there stand around. He cannot see a missing paper, nor whom another field could not take.

The rotation: planned anew whenever something happens, and called as planned. What a group lacks is on record; when it is through the
stations is reckoned from how long today's groups took.
"""

import time
from collections.abc import Iterator, Sequence
from math import inf
from statistics import median

from msgspec.structs import replace

from contracts.rules import RotationRules
from services.games.rotation import model
from services.games.rotation.planner import plan
from tests.bench.saturday_day import BREAK, Calls, Park, Standing
from tests.bench.saturday_stations import Journeys
from tests.bench.saturday_world import FEWEST, Ground, World

SOON = 0.01
LOOK = 15.0
NEAR = 60.0


def free_fields(park: Park) -> list[Ground]:
    """Free and not held, the one that has been free for longest first."""
    free = [one for one in park.world.grounds if one.name not in park.busy | park.held]
    return sorted(free, key=lambda one: (park.free_at[one.name], one.name))


def by_hand(park: Park) -> Calls:
    taken: set[str] = set()
    for ground in free_fields(park):
        session = next(
            (one for one in park.groups.values() if one.group.session and one.group.session[0] == ground.name), None
        )
        if session is not None and session.group.session is not None:
            _, begins, ends = session.group.session
            if begins <= park.now < ends:
                if session.here and park.now + ground.minutes <= ends:
                    yield ground, (session.group.name,)
                continue
            if park.now < begins < park.now + ground.minutes + BREAK:
                continue
        there = sorted(
            (one for one in park.groups.values() if one.here and not one.group.session),
            key=lambda one: (one.since, one.group.name),
        )
        list_, room = [], ground.places
        for one in there:
            if one.group.name in taken or not one.group.fits(ground):
                continue
            if one.group.size > room:
                break
            list_.append(one.group.name)
            room -= one.group.size
        if ground.places - room >= FEWEST:
            taken.update(list_)
            yield ground, tuple(list_)


class Rotation:
    """Calls games as the plan has them: planned anew at each event at which a field is free and enough stand there, and every quarter of an hour.

    Every quarter of an hour it looks as far ahead as the rules say, in between one hour: what is called now does not hang on the second hour.
    """

    def __init__(self, world: World, journeys: Journeys, rules: RotationRules) -> None:
        self.rules, self.near = rules, replace(rules, horizon_minutes=min(NEAR, rules.horizon_minutes))
        self.grounds = {ground.name: ground for ground in world.grounds}
        self.journeys = journeys
        self.before: tuple[float, tuple[model.Slot, ...]] = (0.0, ())
        self.seconds: list[float] = []
        self.moved: list[int] = []
        self.looks: list[tuple[float, model.Plan]] = []

    def __call__(self, park: Park) -> Calls:
        looks = park.now >= (self.looks[-1][0] if self.looks else 0.0) + LOOK
        if not looks and not any(self._could_play(park, ground) for ground in free_fields(park)):
            return []
        made = self.plan(park, self.rules if looks else self.near)
        if looks:
            self.looks.append((park.now, made))
        kept, called = [], []
        for slot in made.slots:
            if slot.start <= SOON and slot.field not in park.busy:
                called.append((self.grounds[slot.field], tuple(seat.party for seat in slot.seats)))
            else:
                kept.append(slot)
        self.before = (park.now, tuple(kept))
        return called

    def _could_play(self, park: Park, ground: Ground) -> bool:
        """Whether enough stand there for a game, or somebody whose session it is: else no plan would call any."""
        there = [one.group for one in park.groups.values() if one.here and one.group.fits(ground)]
        return sum(group.size for group in there) >= FEWEST or any(group.session for group in there)

    def plan(self, park: Park, rules: RotationRules) -> model.Plan:
        at, slots = self.before
        shifted = [
            model.Slot(s.field, s.start - (park.now - at), s.minutes, s.seats, s.private, s.fixed) for s in slots
        ]
        grounds, parties = list(self.fields(park)), list(self.parties(park))
        begun = time.thread_time()
        made = plan(grounds, parties, shifted, rules)
        self.seconds.append(time.thread_time() - begun)
        self.moved.append(len(made.moved))
        return made

    def fields(self, park: Park) -> Iterator[model.Ground]:
        for ground in self.grounds.values():
            free_at = None if ground.name in park.held else max(0.0, park.free_at[ground.name] - park.now)
            if free_at is not None and ground.name in park.busy:
                free_at = max(0.5, free_at)
            private = tuple(
                model.Session(one.group.name, one.group.session[1] - park.now, one.group.session[2] - park.now)
                for one in park.groups.values()
                if one.group.session and one.group.session[0] == ground.name and one.group.session[2] > park.now
            )
            yield model.Ground(ground.name, ground.places, free_at, ground.minutes, private)

    def parties(self, park: Park) -> Iterator[model.Party]:
        through = self._through(park)
        for name, one in park.groups.items():
            if one.group.comes > park.now or one.leaves <= park.now:
                continue
            takes = {ground.name: one.group.size for ground in self.grounds.values() if one.group.fits(ground)}
            waited = park.now - one.since if one.here else 0.0
            yield model.Party(name, takes, self._ready(park, one, through), waited, one.played)

    def _ready(self, park: Park, one: Standing, through: Sequence[float]) -> float:
        """Minutes until it may start: known at staging, planned on a field, reckoned in the stations, unknown while it lacks something."""
        if one.here:
            return 0.0
        if one.clearing:
            return inf
        if one.back < inf:
            return max(0.5, one.back - park.now)
        done = [at for at in self.journeys.steps[one.group.name] if at <= park.now]
        left = through[len(done)]
        return max(1.0, (done[-1] if done else one.group.comes) + left - park.now)

    def _through(self, park: Park) -> list[float]:
        """How long today's groups took from each step until they were ready, by the median of the last thirty; unknown before there are any."""
        stations = len(next(iter(self.journeys.steps.values())))
        ready = sorted((at, name) for name, at in self.journeys.ready.items() if at <= park.now)[-30:]
        found = []
        for step in range(stations + 1):
            took = [
                at - (self.journeys.steps[name][step - 1] if step else park.groups[name].group.comes)
                for at, name in ready
            ]
            found.append(median(took) if took else inf)
        return found
