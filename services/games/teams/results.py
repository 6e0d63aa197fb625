"""The day's results of one player: the games that he was in, in which colour, and which colour won; and what that says of his skill.

Skills are taken to spread normally over players, and a player's form in one game as much again. Of a game of N players, in two teams, the mean of the winners' lead is then
the half-normal √(2/π) of its spread √(2N), and each player's own part of it, half of which is skill: ±1/√(πN) standard deviations, up where his team won. A game thus says little of one of many, and
much of one of few. Games are added up. A rating with a spread of its own, such as Glicko-2, was passed over: a visitor plays some six games a day.
"""

from collections.abc import Iterable
from math import pi, sqrt
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.games import EntryRecorded, GameAbandoned, GameEnded, GameStarted, PlayerAdmitted
from contracts.words import Colour
from services.clearance.holds import Place
from services.core.fold import Evolve, Fold


class End(Struct, frozen=True):
    place: Place
    how: Literal["ended", "abandoned"]
    winner: Colour | None = None
    players: int = 0
    """How many had entered that game."""


class Results(Struct, frozen=True):
    """A player's games of the day. Of several ends of a game the first stands, by when it happened."""

    player: str
    colours: dict[str, Colour | None] = {}
    """Every game that he entered, with his colour where one is known: the one that was recorded last."""
    ends: dict[str, End] = {}

    @property
    def played(self) -> int:
        """How many games he was in; one that was given up counts for none."""
        return sum(1 for game in self.colours if game not in self.ends or self.ends[game].how == "ended")

    @property
    def decided(self) -> tuple[tuple[bool, int], ...]:
        """Every game that somebody won: whether he did, and how many had entered it."""
        told = ((self.colours.get(game), end) for game, end in self.ends.items() if end.winner is not None)
        return tuple((colour == end.winner, end.players) for colour, end in told if colour is not None)


def skill(decided: Iterable[tuple[bool, int]]) -> int:
    """What games say of a player's skill, in hundredths of its standard deviation over players."""
    return round(100 * sum((1 if won else -1) / sqrt(pi * players) for won, players in decided))


def _started(results: Results, event: Recorded[GameStarted]) -> Results:
    colour = next((one.colour for one in event.data.entrants if one.player == results.player), None)
    if colour is None:
        return results
    return replace(results, colours={**results.colours, event.data.game: colour})


def _admitted(results: Results, event: Recorded[PlayerAdmitted] | Recorded[EntryRecorded]) -> Results:
    data = event.data
    if data.game is None or data.part != "player":
        return results
    known = data.colour or results.colours.get(data.game)
    return replace(results, colours={**results.colours, data.game: known})


def _over(results: Results, game: str, end: End) -> Results:
    first = results.ends.get(game)
    if first is not None and first.place < end.place:
        return results
    return replace(results, ends={**results.ends, game: end})


def _ended(results: Results, event: Recorded[GameEnded]) -> Results:
    data = event.data
    return _over(results, data.game, End((event.occurred_at, event.position), "ended", data.winner, len(data.players)))


def _abandoned(results: Results, event: Recorded[GameAbandoned]) -> Results:
    return _over(results, event.data.game, End((event.occurred_at, event.position), "abandoned"))


_RESULTS: dict[type[Data], Evolve[Results]] = {
    GameStarted: _started,
    PlayerAdmitted: _admitted,
    EntryRecorded: _admitted,
    GameEnded: _ended,
    GameAbandoned: _abandoned,
}
RESULTS: Fold[Results] = Fold("games.results", "player", Results, _RESULTS)
