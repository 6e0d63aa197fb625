"""An invented Saturday: twelve fields, 1,500 people in 300 groups, and what happens to each, drawn from one seed.

What is drawn hangs on what it is about (a field's fifth game, a group's third call), not on the order of asking: so two ways to run the
same day meet the same overruns, stragglers and missing papers. All figures are our own invention.
"""

from random import Random

from msgspec import Struct

OPENS, CLOSES = 0.0, 480.0
LAST_START = CLOSES - 20.0
"""Minutes after nine."""
GROUPS, PEOPLE = 300, 1500
COACH = 50
REST = 10.0
"""Minutes that everybody rests between two games: a drink, air and paint."""
LONGEST_AT_GATE = 5.0
FEWEST = 6


class Ground(Struct, frozen=True):
    """A field: how many play there, from which age, whether one's own marker may be shot there, how long a game is."""

    name: str
    places: int
    floor: int
    low_limit: bool
    minutes: float


class Group(Struct, frozen=True):
    """People who play together, or the part of a coach party that one field takes. `session`: the field and the window that is theirs alone."""

    name: str
    size: int
    youngest: int
    own_markers: int
    comes: float
    stays: float
    """Minutes on the park from being ready on."""
    session: tuple[str, float, float] | None = None

    def fits(self, ground: Ground) -> bool:
        """Whether all of it may play there: who is too young, or shoots too fast, for a field keeps his group off it."""
        if self.session is not None:
            return ground.name == self.session[0]
        return (
            self.youngest >= ground.floor and not (ground.low_limit and self.own_markers) and self.size <= ground.places
        )


class Hold(Struct, frozen=True):
    field: str
    begins: float
    ends: float


class World(Struct, frozen=True):
    seed: int
    grounds: tuple[Ground, ...]
    groups: tuple[Group, ...]
    hold: Hold

    def drawn(self, *about: object) -> Random:
        """Chance that hangs on what it is about."""
        return Random(f"{self.seed} {about}")  # noqa: S311 - a sample, not a secret

    def overrun(self, field: str, game: int) -> float:
        """Minutes by which a game ends after its time, or before it."""
        chance = self.drawn("overrun", field, game)
        return chance.choice((-2.0, -1.0, 0.0, 0.0, 0.5, 1.0, 2.0, 4.0)) + chance.uniform(-0.5, 0.5)

    def pause(self, field: str, game: int) -> float:
        """Minutes of the break after a game: heads counted, the next teams briefed."""
        return self.drawn("break", field, game).uniform(5.0, 10.0)

    def straggles(self, group: str, call: int) -> float:
        """Minutes for which a group is waited for at its nth call, since somebody is not there: nothing nine times out of ten."""
        chance = self.drawn("straggler", group, call)
        return chance.expovariate(1 / 4.0) + 0.5 if chance.random() < 0.1 else 0.0

    def lacks(self, group: str, game: int) -> float:
        """Minutes that it takes to clear what a group lacks before its nth game, which only the record, or the gate, knows: mostly nothing."""
        chance = self.drawn("lacks", group, game)
        return chance.uniform(2.0, 20.0) if chance.random() < (0.12 if game == 0 else 0.04) else 0.0


_GROUNDS = (
    ("alder", 24, 8, True, 15.0),
    ("beech", 30, 8, True, 15.0),
    ("cedar", 30, 10, True, 15.0),
    ("dogwood", 30, 12, False, 15.0),
    ("elm", 36, 12, False, 15.0),
    ("fir", 40, 12, False, 20.0),
    ("gorse", 40, 12, False, 20.0),
    ("hazel", 24, 12, False, 15.0),
    ("ivy", 36, 14, False, 15.0),
    ("juniper", 40, 16, False, 20.0),
    ("kelp", 20, 16, False, 15.0),
    ("larch", 30, 16, False, 15.0),
)
_SIZES = ((1, 14), (2, 22), (3, 14), (4, 16), (5, 10), (6, 8), (8, 6), (10, 5), (12, 3), (16, 1.5), (20, 0.5))


def world(seed: int, share: float = 1.0) -> World:
    """The day of a seed; `share` of its groups and fields, for a small one."""
    fields = _GROUNDS[:: max(1, round(1 / share))]
    grounds = tuple(Ground(*one) for one in fields)
    count, people = round(GROUPS * share), round(PEOPLE * share)
    groups = _groups(seed, grounds, count, people)
    return World(seed, grounds, groups, Hold(grounds[len(grounds) // 2].name, 240.0, 265.0))


def _groups(seed: int, grounds: tuple[Ground, ...], count: int, people: int) -> tuple[Group, ...]:
    chance = Random(f"{seed} groups")  # noqa: S311 - a sample, not a secret
    most = max(ground.places for ground in grounds)
    sizes = chance.choices([size for size, _ in _SIZES], [often for _, often in _SIZES], k=count - 1)
    while sum(sizes) != people - COACH:
        at = chance.randrange(len(sizes))
        sizes[at] = max(1, sizes[at] + (1 if sum(sizes) < people - COACH else -1))
    found = [_group(chance, f"group-{at:03}", size) for at, size in enumerate(sizes)]
    large = sorted((one for one in found if 10 <= one.size <= 16), key=lambda one: one.name)[: max(1, count // 75)]
    for at, one in enumerate(large):
        found[found.index(one)] = _private(one, grounds[3 + at] if len(grounds) > 3 + at else grounds[-1], at)
    parts = -(-COACH // most)
    coach = [Group(f"coach-{part + 1}", COACH // parts, 14, 0, 120.0, 300.0) for part in range(parts)]
    return (*found, *coach)


def _group(chance: Random, name: str, size: int) -> Group:
    youngest = chance.choices((8, 10, 12, 14, 16, 18), (6, 10, 14, 12, 14, 44))[0]
    own = sum(chance.random() < 0.6 for _ in range(size)) if youngest >= 16 and chance.random() < 0.25 else 0
    comes = max(0.0, min(330.0, chance.choice((chance.gauss(50, 30), chance.gauss(110, 35), chance.gauss(220, 40)))))
    return Group(name, size, youngest, own, comes, chance.uniform(150.0, 270.0))


def _private(group: Group, ground: Ground, at: int) -> Group:
    begins = 90.0 + 60.0 * at
    return Group(
        group.name,
        group.size,
        max(group.youngest, ground.floor),
        0,
        begins - 75.0,
        400.0,
        (ground.name, begins, begins + 120.0),
    )
