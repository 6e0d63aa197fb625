"""Games: a field's limits and its inspection, the game list, who is out, and how a game ends.

A field has at most one game that waits and one that runs: while one is played the next is gathered. The clock of a game is not kept but
follows from what happened: from its start to its end, without the time that play was stopped. Nothing waits for players to be
recorded one by one: referees' eyes stay on them. The referee on the field decides; local law and the insurer's rules come first.
"""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import cast

from contracts.envelope import Data
from contracts.games import (
    AbandonGame,
    BriefGame,
    CallGame,
    ConfigureField,
    EndGame,
    FieldConfigured,
    FieldInspected,
    GameAbandoned,
    GameBriefed,
    GameCalled,
    GameEnded,
    InspectField,
    PlayerOut,
    RecordOut,
)
from contracts.problems import NotInThatState, RuleForbids
from contracts.words import Part
from services.clearance import holds
from services.clearance.field import FIELD, Field
from services.clearance.presence import PRESENCE
from services.core.command import Moment, must_know
from services.core.fold import Given
from services.games.states import GAME, Game


def known_game(given: Given, game: str) -> tuple[Game, GameCalled]:
    """A game and its latest list; raises UnknownSubject when it was never called."""
    state = given.of(GAME, game)
    must_know(state.called, f"game:{game}")
    return state, cast("GameCalled", state.called)


def known_field(given: Given, field: str) -> tuple[Field, FieldConfigured]:
    """A field and its limits; raises UnknownSubject when it was never configured."""
    state = given.of(FIELD, field)
    must_know(state.configured, f"field:{field}")
    return state, cast("FieldConfigured", state.configured)


def known_player(given: Given, player: str) -> Part:
    """The part that somebody plays in the day; raises UnknownSubject for who was never registered."""
    part = given.of(PRESENCE, player).part
    must_know(part, f"player:{player}")
    return cast("Part", part)


def configure_field(command: ConfigureField, _given: Given, _moment: Moment) -> Iterable[Data]:
    """The stop limit, over which a marker leaves the field at once, is no lower than the limit of the bench."""
    if command.stop_limit_fps < command.limit_fps:
        raise RuleForbids(
            f"The stop limit of {command.stop_limit_fps:g} ft/s is under the bench limit of {command.limit_fps:g} ft/s. "
            "Raise the one or lower the other.",
            where="$.stop_limit_fps",
        )
    return [
        FieldConfigured(
            field=command.field,
            title=command.title,
            limit_fps=command.limit_fps,
            stop_limit_fps=command.stop_limit_fps,
            limit=command.limit,
            age_floor=command.age_floor,
            calibres=command.calibres,
            firing_modes=command.firing_modes,
            capacity=command.capacity,
        )
    ]


def inspect_field(command: InspectField, given: Given, _: Moment) -> Iterable[Data]:
    known_field(given, command.field)
    return [FieldInspected(field=command.field, passed=command.passed)]


def call_game(command: CallGame, given: Given, _: Moment) -> Iterable[Data]:
    """Until it starts, a game may be called again with another list; one game at a time waits for a field."""
    field, configured = known_field(given, command.field)
    game = given.of(GAME, command.game)
    if game.state not in {"unknown", "called"}:
        raise NotInThatState(
            f"Game {command.game} is {game.state}: its list is closed. Call another game.", where=f"game:{command.game}"
        )
    if game.called is not None and game.called.field != command.field:
        raise NotInThatState(
            f"Game {command.game} is called for field {game.called.field}. Abandon it there, and call another game here.",
            where=f"game:{command.game}",
        )
    if field.waiting not in {None, command.game}:
        raise NotInThatState(
            f"Game {field.waiting} is already called for field {command.field}. Start it or abandon it first.",
            where=f"field:{command.field}",
        )
    _must_fit(command, configured.capacity)
    return [
        GameCalled(
            game=command.game,
            field=command.field,
            rotation=command.rotation,
            format=command.format,
            minutes=command.minutes,
            entrants=command.entrants,
        )
    ]


def _must_fit(command: CallGame, capacity: int) -> None:
    times = Counter(entrant.player for entrant in command.entrants)
    twice = [player for player, count in times.items() if count > 1]
    if twice:
        raise RuleForbids(f"On the list more than once: {', '.join(twice)}. Name each once.", where="$.entrants")
    if len(times) > capacity:
        raise RuleForbids(
            f"Field {command.field} takes {capacity} players; the list has {len(times)}. Shorten it or use another field.",
            where="$.entrants",
        )


def brief_game(command: BriefGame, given: Given, _: Moment) -> Iterable[Data]:
    called = known_game(given, command.game)[1]
    return [GameBriefed(game=command.game, field=called.field)]


def record_out(command: RecordOut, given: Given, moment: Moment) -> Iterable[Data]:
    """Where no game is named, it is the one that he had entered on that field by then."""
    known_player(given, command.player)
    known_field(given, command.field)
    game, on = command.game, given.of(PRESENCE, command.player).on
    if game is not None:
        must_be_on(known_game(given, game)[1], command.field)
    elif on is not None and on.field == command.field and on.place[0] <= moment.occurred_at:
        game = on.game
    return [PlayerOut(player=command.player, field=command.field, game=game, cause=command.cause)]


def must_be_on(called: GameCalled, field: str) -> None:
    """Raises RuleForbids unless that field is the game's."""
    if called.field != field:
        raise RuleForbids(
            f"Game {called.game} is on field {called.field}, not on {field}. Name one of them only, or the right one.",
            where="$.field",
        )


def end_game(command: EndGame, given: Given, moment: Moment) -> Iterable[Data]:
    """A game that was never live, or had been abandoned, was played for no minute. Ended twice, its first end counts."""
    game, called = known_game(given, command.game)
    played = _played(game, given.of(FIELD, called.field), moment.occurred_at)
    return [
        GameEnded(
            game=command.game,
            field=called.field,
            rotation=called.rotation,
            format=called.format,
            started_at=game.started or moment.occurred_at,
            played_minutes=played.total_seconds() / 60,
            full=played >= timedelta(minutes=moment.rules.games.full_minutes),
            players=tuple(game.entered),
            winner=command.winner,
        )
    ]


def _played(game: Game, field: Field, end: datetime) -> timedelta:
    if game.over is not None and game.over.place[0] <= end:
        if game.over.how == "abandoned":
            return timedelta()
        end = game.over.place[0]
    if game.started is None or end <= game.started:
        return timedelta()
    return end - game.started - holds.stopped(field.holds, game.started, end)


def abandon_game(command: AbandonGame, given: Given, _: Moment) -> Iterable[Data]:
    """It serves nobody's sit-out. Where it had been live, the heads are counted as after any other."""
    game, called = known_game(given, command.game)
    return [
        GameAbandoned(
            game=command.game,
            field=called.field,
            rotation=called.rotation,
            players=tuple(game.entered),
            cause=command.cause,
        )
    ]
