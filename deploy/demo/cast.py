"""Who comes to Larchmoor on the invented Saturday, and with what. All of it is made up, from a seed."""

from dataclasses import dataclass, field
from random import Random
from typing import Final

PLAYERS: Final = 240
FIELDS: Final = ("birch", "quarry", "fern")
ROTATIONS: Final = tuple(f"{name}-{number}" for name in FIELDS for number in (1, 2))
MAJORITY: Final = 18


@dataclass(frozen=True)
class Kind:
    """A kind of group: the age bands of its players, whether guardians stay, whether it brings its own gear."""

    name: str
    bands: tuple[int, ...]
    guardians_stay: bool = True
    own_gear: bool = False


KINDS: Final = (
    Kind("family", (18, 8, 10, 12)),
    Kind("colleagues", (18,) * 8),
    Kind("birthday", (18, 18, 10, 10, 10, 12, 12, 12), guardians_stay=False),
    Kind("friends", (18,) * 5),
    Kind("teens", (18, 14, 14, 14, 16, 16), guardians_stay=False),
    Kind("regulars", (18,) * 4, own_gear=True),
    Kind("club", (18,) * 7),
)


@dataclass
class Player:
    """One player as the stations know him."""

    name: str
    person: str
    group: str
    band: int
    armband: int
    guardian: str | None = None
    own_gear: bool = False
    marker: str = ""
    mask: str = ""

    @property
    def minor(self) -> bool:
        return self.band < MAJORITY


@dataclass
class Group:
    name: str
    kind: Kind
    arrives: float
    """Minutes after eight."""
    players: list[Player] = field(default_factory=list)
    rotation: str = ""

    @property
    def field(self) -> str:
        return self.rotation.rpartition("-")[0]

    @property
    def adult(self) -> Player:
        """The one who answers for the children."""
        return next(player for player in self.players if not player.minor)


def groups(random: Random) -> list[Group]:
    """The day's groups, 240 players in all, each put into the emptiest rotation that suits its youngest."""
    made: list[Group] = []
    filled = dict.fromkeys(ROTATIONS, 0)
    armband = 0
    while armband < PLAYERS:
        kind = KINDS[len(made) % len(KINDS)]
        group = Group(f"g{len(made) + 1:02}", kind, 15 + 2.0 * len(made))
        for band in kind.bands[: PLAYERS - armband]:
            armband += 1
            group.players.append(_player(group, band, armband))
        youngest = min(player.band for player in group.players)
        suits = [one for one in ROTATIONS if one.startswith("fern") == (youngest < 12)]
        group.rotation = min(suits, key=lambda one: (filled[one], random.random()))
        filled[group.rotation] += len(group.players)
        made.append(group)
    return made


def _player(group: Group, band: int, armband: int) -> Player:
    player = Player(f"p{armband:03}", f"person-{armband:03}", group.name, band, armband)
    if player.minor:
        player.guardian = f"guardian-{armband:03}" if not group.kind.guardians_stay else f"guardian-{group.name}"
    player.own_gear = group.kind.own_gear
    return player
