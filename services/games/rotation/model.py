"""The rotation: who plays where and when for the next hours, over all fields of the park.

Times are minutes from now, as floats: the past is negative. A party is a group, or a player who came alone; it plays whole, and is cut
into parts only where no field that it may play on takes it whole. A plan is a proposal: staging and the referees decide, and at the
start of each game everybody's clearance is asked again. Common practice, no source; local law and the insurer's rules come first.
"""

from collections.abc import Mapping
from typing import Literal

from msgspec import Struct

Why = Literal["not_ready", "in_private", "no_field", "too_few", "no_place"]
"""Why a party has no game in a plan: nobody knows when it is ready, or not before the plan ends; it has the plan's time for itself on
its own field; no open field takes it; too few others to make a game with; whoever waited longer has the places."""


class Session(Struct, frozen=True):
    """A field that is one party's alone from `start` to `end`: nobody else plays there, and it plays nowhere else."""

    party: str
    start: float
    end: float


class Ground(Struct, frozen=True):
    """A field as the rotation sees it: how many play there at once, how long its games take, and when it is free for the next start.

    `free_at` None: held or closed, and nobody knows until when. It counts in the break after the game that runs.
    """

    field: str
    places: int
    free_at: float | None
    minutes: float = 15.0
    private: tuple[Session, ...] = ()


class Party(Struct, frozen=True):
    """Who plays together. `players`: by field, how many of it may play there; a field that is not named it may not enter.

    `ready_at`: when it may start a game, its rest after the last one over; 0 or less is now, inf means nobody knows.
    `waited`: for how many minutes it has been ready; 0 while it is not, or still rests. `played`: its games of the day so far.
    """

    name: str
    players: Mapping[str, int]
    ready_at: float = 0.0
    waited: float = 0.0
    played: int = 0


class Seat(Struct, frozen=True):
    """A party in a game, with how many players. `part` counts from 1 where no field took the party whole, and is 0 otherwise."""

    party: str
    players: int
    part: int = 0


class Slot(Struct, frozen=True):
    """One game of a plan. `private`: it is in a session of its only party. `fixed`: staging put it together, so it is kept while it can be played."""

    field: str
    start: float
    minutes: float
    seats: tuple[Seat, ...]
    private: bool = False
    fixed: bool = False

    @property
    def players(self) -> int:
        return sum(seat.players for seat in self.seats)


class Plan(Struct, frozen=True):
    """The games, by start; every party without one, with why; which the plan before had elsewhere; which were cut into how many parts."""

    slots: tuple[Slot, ...]
    waiting: Mapping[str, Why]
    moved: tuple[str, ...]
    """Parties that the plan before had in a game that they are not in any more, while that game, or the time for it, still lies ahead."""
    parts: Mapping[str, int]
