"""Who stays together: a group is on one team, whole, or waits for the next game whole.

A group is split only where no field of the park could have it on one team, where all others together are too few to stand against it, or where it agreed to be.
"""

from collections.abc import Iterable, Mapping
from math import ceil

from msgspec import Struct

from contracts.games import FieldConfigured
from services.games.teams.strengths import Strength


class Unit(Struct, frozen=True, order=True):
    """Players who go together. `moves`: how many of them would change sides on the first team, and how many on the second."""

    players: tuple[str, ...]
    group: str | None
    values: tuple[int, ...]
    played: int
    moves: tuple[int, int] = (0, 0)

    @property
    def size(self) -> int:
        return len(self.players)


def units(
    groups: Mapping[str, str | None], known: Mapping[str, Strength], sides: Mapping[str, int], split: Iterable[str]
) -> tuple[Unit, ...]:
    """The players as units, in an order of their own. `groups` names each player's; `sides` the team, 0 or 1, that he was on before."""
    apart, together = frozenset(split), dict[str, list[str]]()
    alone: list[tuple[str | None, list[str]]] = []
    for player in sorted(groups):
        group = groups[player]
        if group is None or group in apart:
            alone.append((group, [player]))
        else:
            together.setdefault(group, []).append(player)
    made = [*together.items(), *alone]
    return tuple(
        sorted((_unit(group, players, known, sides) for group, players in made), key=lambda unit: unit.players)
    )


def _unit(group: str | None, players: list[str], known: Mapping[str, Strength], sides: Mapping[str, int]) -> Unit:
    values = zip(*(known[player].values for player in players), strict=True)
    were = [sides.get(player) for player in players]
    return Unit(
        players=tuple(players),
        group=group,
        values=tuple(sum(column) for column in values),
        played=sum(known[player].played for player in players),
        moves=(were.count(1), were.count(0)),
    )


def why_split(
    groups: Mapping[str, str | None],
    known: Mapping[str, Strength],
    fields: Iterable[FieldConfigured],
    agreed: Iterable[str],
) -> dict[str, str]:
    """Every group of two or more that may be split, with the sentence why."""
    members: dict[str, list[str]] = {}
    for player, group in groups.items():
        if group is not None:
            members.setdefault(group, []).append(player)
    every, consenting = tuple(fields), frozenset(agreed)
    found = {
        group: _why(
            group, len(players), len(groups), largest_team(every, min(known[one].years for one in players)), consenting
        )
        for group, players in sorted(members.items())
        if len(players) > 1
    }
    return {group: sentence for group, sentence in found.items() if sentence is not None}


def largest_team(fields: Iterable[FieldConfigured], youngest: int) -> int:
    """The most that one team may number on any of these fields, for players from this age in years."""
    return max((ceil(field.capacity / 2) for field in fields if field.age_floor <= youngest), default=0)


def _why(group: str, size: int, ready: int, largest: int, agreed: frozenset[str]) -> str | None:
    if group in agreed:
        return f"Group {group} agreed to be split."
    if size > largest:
        return f"Group {group} has {size} players ready; no field takes more than {largest} of them on one team."
    if size > ready - size + 1:
        return f"Group {group} has {size} of the {ready} players ready: all others together are too few to stand against it."
    return None
