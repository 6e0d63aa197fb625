"""The day's results of one player: the games that he was in, in which colour, and which colour won.

The rating is Laplace's rule of succession (Laplace 1774, from memory): after w wins in n games that had a winner, the chance to win the next one
is (w + 1)/(n + 2). It begins at an even chance, and one game moves it by a sixth. A rating with a spread of its own, such as Glicko-2, was passed over: a visitor plays
some six games a day among strangers, in teams of ten, which say too little of one of them.
"""

from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.games import GameAbandoned, GameEnded, GameStarted, PlayerAdmitted
from contracts.words import Colour
from services.clearance.holds import Place
from services.core.fold import Evolve, Fold


class End(Struct, frozen=True):
    place: Place
    how: Literal["ended", "abandoned"]
    winner: Colour | None


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
    def won(self) -> int:
        return sum(1 for colour, winner in self._decided() if colour == winner)

    @property
    def lost(self) -> int:
        return sum(1 for colour, winner in self._decided() if colour != winner)

    def _decided(self) -> list[tuple[Colour, Colour]]:
        pairs = ((self.colours.get(game), end) for game, end in self.ends.items())
        return [
            (colour, end.winner)
            for colour, end in pairs
            if end.how == "ended" and colour is not None and end.winner is not None
        ]


def above_even(won: int, lost: int) -> int:
    """The chance to win the next game, in whole percentage points above an even chance: from -49 to 49."""
    return round(100 * (won + 1) / (won + lost + 2)) - 50


def _started(results: Results, event: Recorded[GameStarted]) -> Results:
    colour = next((one.colour for one in event.data.entrants if one.player == results.player), None)
    if colour is None:
        return results
    return replace(results, colours={**results.colours, event.data.game: colour})


def _admitted(results: Results, event: Recorded[PlayerAdmitted]) -> Results:
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
    return _over(results, event.data.game, End((event.occurred_at, event.position), "ended", event.data.winner))


def _abandoned(results: Results, event: Recorded[GameAbandoned]) -> Results:
    return _over(results, event.data.game, End((event.occurred_at, event.position), "abandoned", None))


_RESULTS: dict[type[Data], Evolve[Results]] = {
    GameStarted: _started,
    PlayerAdmitted: _admitted,
    GameEnded: _ended,
    GameAbandoned: _abandoned,
}
RESULTS: Fold[Results] = Fold("games.results", "player", Results, _RESULTS)
