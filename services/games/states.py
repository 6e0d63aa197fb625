"""What is remembered of each game: its list, its start, who is on the field for it, how it ended; and who is on a field beside any game."""

from datetime import date, datetime
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.games import (
    EntryRecorded,
    GameAbandoned,
    GameCalled,
    GameEnded,
    GameStarted,
    HeadsCounted,
    OutVoided,
    PlayerAdmitted,
    PlayerFound,
    PlayerOut,
)
from services.clearance.holds import Place
from services.core.fold import Evolve, Fold


class Over(Struct, frozen=True):
    place: Place
    how: Literal["ended", "abandoned"]


class Out(Struct, frozen=True):
    player: str
    place: Place


class Game(Struct, frozen=True):
    """One game: called, then live, then ended or abandoned. That it is held is known to its field."""

    game: str
    called: GameCalled | None = None
    started: datetime | None = None
    over: Over | None = None
    entered: dict[str, Place] = {}
    """Everybody who was let in, each with the latest time of it."""
    seen: dict[str, Place] = {}
    """Who was accounted for or found, each with the latest time of it."""
    outs: dict[str, Out] = {}
    """Every time that somebody was recorded out and it was not withdrawn, by the id of its event."""
    not_playing: frozenset[str] = frozenset()
    """Referees, photographers and chaperones among those who were let in."""

    @property
    def state(self) -> Literal["unknown", "called", "live", "ended", "abandoned"]:
        if self.over is not None:
            return self.over.how
        if self.started is not None:
            return "live"
        return "unknown" if self.called is None else "called"

    @property
    def out(self) -> frozenset[str]:
        """Who was recorded out, once and for all where the game is one of elimination."""
        return frozenset(one.player for one in self.outs.values())

    @property
    def off(self) -> dict[str, Place]:
        """Who was recorded out or accounted for, each with the latest time of it."""
        off = dict(self.seen)
        for one in self.outs.values():
            off[one.player] = max(one.place, off.get(one.player, one.place))
        return off

    @property
    def on_field(self) -> tuple[str, ...]:
        """Who was let in and has not come off since, as far as anybody recorded it."""
        off = self.off
        return tuple(player for player, place in self.entered.items() if off.get(player, place) <= place)

    @property
    def playing(self) -> tuple[str, ...]:
        return tuple(player for player in self.on_field if player not in self.not_playing)


class Beside(Struct, frozen=True):
    """Who entered a field on its latest day without being in a game, each with that day. Whether they still are says their own story."""

    field: str
    entered: dict[str, date] = {}


def _later(places: dict[str, Place], players: tuple[str, ...], place: Place) -> dict[str, Place]:
    return {**places, **{player: max(place, places.get(player, place)) for player in players}}


def _called(game: Game, event: Recorded[GameCalled]) -> Game:
    return replace(game, called=event.data) if game.started is None else game


def _started(game: Game, event: Recorded[GameStarted]) -> Game:
    players = tuple(entrant.player for entrant in event.data.entrants)
    entered = _later(game.entered, players, (event.occurred_at, event.position))
    return replace(game, started=game.started or event.occurred_at, entered=entered)


def _admitted(game: Game, event: Recorded[PlayerAdmitted] | Recorded[EntryRecorded]) -> Game:
    data = event.data
    entered = _later(game.entered, (data.player,), (event.occurred_at, event.position))
    not_playing = game.not_playing if data.part == "player" else game.not_playing | {data.player}
    return replace(game, entered=entered, not_playing=not_playing)


def _out(game: Game, event: Recorded[PlayerOut]) -> Game:
    out = Out(event.data.player, (event.occurred_at, event.position))
    return replace(game, outs={**game.outs, str(event.id): out})


def _out_voided(game: Game, event: Recorded[OutVoided]) -> Game:
    """He is in the game as if he had not been out."""
    return replace(game, outs={name: out for name, out in game.outs.items() if name != str(event.data.out)})


def _counted(game: Game, event: Recorded[HeadsCounted]) -> Game:
    return replace(game, seen=_later(game.seen, event.data.accounted, (event.occurred_at, event.position)))


def _found(game: Game, event: Recorded[PlayerFound]) -> Game:
    return replace(game, seen=_later(game.seen, (event.data.player,), (event.occurred_at, event.position)))


def _over(game: Game, over: Over) -> Game:
    """The first end stands, by when it happened."""
    return game if game.over is not None and game.over.place < over.place else replace(game, over=over)


def _ended(game: Game, event: Recorded[GameEnded]) -> Game:
    return _over(game, Over((event.occurred_at, event.position), "ended"))


def _abandoned(game: Game, event: Recorded[GameAbandoned]) -> Game:
    return _over(game, Over((event.occurred_at, event.position), "abandoned"))


def _beside(beside: Beside, event: Recorded[PlayerAdmitted] | Recorded[EntryRecorded]) -> Beside:
    if event.data.game is not None:
        return beside
    today = {player: day for player, day in beside.entered.items() if day >= event.day}
    return replace(beside, entered={**today, event.data.player: event.day})


_GAME: dict[type[Data], Evolve[Game]] = {
    GameCalled: _called,
    GameStarted: _started,
    PlayerAdmitted: _admitted,
    EntryRecorded: _admitted,
    PlayerOut: _out,
    OutVoided: _out_voided,
    HeadsCounted: _counted,
    PlayerFound: _found,
    GameEnded: _ended,
    GameAbandoned: _abandoned,
}
GAME: Fold[Game] = Fold("games.game", "game", Game, _GAME)
BESIDE: Fold[Beside] = Fold("games.beside", "field", Beside, {PlayerAdmitted: _beside, EntryRecorded: _beside})
