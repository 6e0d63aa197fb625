"""What the rotation moves about: a party whole, or a part of one that no field takes whole; with the fields that suit it and when it may start again."""

from collections.abc import Iterable, Mapping, Sequence
from math import ceil
from typing import Final

from msgspec import Struct

from services.games.rotation.model import Ground, Party, Session

Name = tuple[str, int]
"""A party, and which part of it: 0 is the whole."""
A_MOMENT: Final = 1e-6
"""Minutes within which two times are one."""


class Unit(Struct, eq=False):
    """`ready`: when it may start next; `since`: since when it waits, for the future if it does not yet; `starts`: of its games in the plan.

    `fields`: those that take it whole, on one of two teams where any field of the park can. `levels`: it is on both teams, so it levels them.
    """

    name: Name
    players: int
    fields: frozenset[str]
    levels: bool
    ready: float
    since: float
    arrived: float
    played: int
    sessions: tuple[Session, ...] = ()
    starts: tuple[float, ...] = ()

    def is_free(self, start: float, minutes: float, rest: float) -> bool:
        """Whether it can play then, and be back for its own session."""
        if self.ready > start + A_MOMENT:
            return False
        end = start + minutes + rest
        return all(end <= one.start + A_MOMENT or start >= one.end + rest - A_MOMENT for one in self.sessions)

    def waited(self, now: float) -> float:
        return max(0.0, now - self.since)

    def play(self, start: float, minutes: float, rest: float) -> None:
        """It has rested and waits again from the end of its rest on."""
        self.starts = (*self.starts, start)
        self.ready = self.since = start + minutes + rest
        self.played += 1


def units(grounds: Sequence[Ground], parties: Iterable[Party]) -> list[Unit]:
    """Every party as units for the games that are open to all, in the order of the parties."""
    booked: dict[str, list[Session]] = {}
    for ground in grounds:
        for session in ground.private:
            booked.setdefault(session.party, []).append(session)
    return [unit for party in parties for unit in _units(party, grounds, tuple(booked.get(party.name, ())))]


def _units(party: Party, grounds: Sequence[Ground], sessions: tuple[Session, ...]) -> list[Unit]:
    size = _most(party.players, (ground for ground in grounds if ground.free_at is not None))
    if not size:
        return []
    takes = {ground.field: ground.places for ground in grounds if party.players.get(ground.field, 0) >= size}
    largest = max(takes.values())
    count = ceil(size / largest) if largest else 0
    if count == 0:
        return []
    even, more = divmod(size, count)
    sizes = [even + (part < more) for part in range(count)]
    one_team = any(ceil(places / 2) >= sizes[0] for places in takes.values())
    enough = {field for field, places in takes.items() if (ceil(places / 2) if one_team else places) >= sizes[0]}
    return [
        Unit(
            name=(party.name, part if count > 1 else 0),
            players=players,
            fields=frozenset(enough),
            levels=not one_team,
            ready=party.ready_at,
            since=-party.waited if party.waited > 0 else max(0.0, party.ready_at),
            arrived=max(party.ready_at, -party.waited),
            played=party.played,
            sessions=sessions,
        )
        for part, players in enumerate(sizes, start=1)
    ]


def _most(players: Mapping[str, int], grounds: Iterable[Ground]) -> int:
    return max((players.get(ground.field, 0) for ground in grounds), default=0)


def in_session(ground: Ground, party: Party) -> list[Unit]:
    """The party of a private session on its field: whole, or in parts that take turns."""
    size = party.players.get(ground.field, 0)
    count = ceil(size / ground.places) if ground.places else 0
    if not count:
        return []
    even, more = divmod(size, count)
    return [
        Unit(
            name=(party.name, part if count > 1 else 0),
            players=even + (part <= more),
            fields=frozenset({ground.field}),
            levels=True,
            ready=party.ready_at,
            since=part * A_MOMENT,
            arrived=party.ready_at,
            played=party.played,
        )
        for part in range(1, count + 1)
    ]
