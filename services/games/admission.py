"""Admission: nobody steps onto a field who is not cleared, and nobody is admitted half.

A start admits everybody on the list, or nobody and names every offender with every reason in one answer; "start without them" leaves
them out. In elimination games out is out, and nobody joins late; into the others players come and go through the gate. Referees,
photographers and chaperones enter too: they carry no marker, and are counted.
"""

from collections.abc import Iterable

from contracts.envelope import Data, Reason
from contracts.games import (
    AdmissionRefused,
    AdmitPlayer,
    Entrant,
    GameStarted,
    Offender,
    PlayerAdmitted,
    RecordEntry,
    StartGame,
    StartRefused,
)
from contracts.problems import NotInThatState, RuleForbids
from contracts.reasons import reason
from services.clearance import model as clearance
from services.clearance import play
from services.clearance.field import FIELD
from services.clearance.presence import PRESENCE
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.core.rules import operating_day
from services.games.model import known_field, known_game, known_player, must_be_on
from services.games.states import GAME, Game


def start_subjects(command: StartGame, given: Given) -> set[Subject]:
    """The game, its field with the staff on duty, and all that clears each of the players on its list."""
    wanted: set[Subject] = {(GAME, command.game)}
    called = given.of(GAME, command.game).called
    if called is None:
        return wanted
    wanted |= play.subjects(called.field, given)
    for entrant in called.entrants:
        wanted |= clearance.subjects(entrant.player, called.field)(given)
    return wanted


def start_game(command: StartGame, given: Given, moment: Moment) -> Iterable[Data]:
    """Everybody who goes is cleared and the field is open: then all are on it. Else nobody is."""
    game, called = known_game(given, command.game)
    if game.state != "called":
        raise NotInThatState(f"Game {command.game} is {game.state}: it starts once.", where=f"game:{command.game}")
    going = tuple(entrant for entrant in called.entrants if entrant.player not in command.without)
    if not going:
        raise RuleForbids("Nobody is left on the list to start with. Call the game with others.", where="$.without")
    _must_be_the_latest_word(given, (entrant.player for entrant in going), moment)
    reasons = play.reasons(given, called.field, moment, called.game, len(going))
    offenders = tuple(one for one in _judged(going, given, called.field, moment) if one.reasons)
    if reasons or offenders:
        return [
            StartRefused(
                basis=moment.basis,
                reasons=tuple(reasons),
                game=called.game,
                field=called.field,
                offenders=offenders,
            )
        ]
    left = (entrant for entrant in called.entrants if entrant.player in command.without)
    return [
        GameStarted(
            basis=moment.basis,
            game=called.game,
            field=called.field,
            rotation=called.rotation,
            format=called.format,
            minutes=called.minutes,
            entrants=going,
            left_out=tuple(_judged(left, given, called.field, moment)),
        )
    ]


def _must_be_the_latest_word(given: Given, players: Iterable[str], moment: Moment) -> None:
    """Nobody is let in for an earlier day, or for a time before he is known to have come off a field: nobody would know him to be on it."""
    if operating_day(moment.rules, moment.now) != moment.day:
        raise NotInThatState(
            f"It would be for {moment.day}, which is over. Set the device's clock, or send it without a time.",
            where="$.occurred_at",
        )
    for player in players:
        seen = given.of(PRESENCE, player).seen
        if seen is not None and seen > moment.occurred_at:
            raise NotInThatState(
                f"Player {player} entered or left a field, or the park, at {seen.isoformat()}, after the time claimed here. "
                "Let him in now: send it without a time.",
                where="$.occurred_at",
            )


def _judged(entrants: Iterable[Entrant], given: Given, field: str, moment: Moment) -> Iterable[Offender]:
    for entrant in entrants:
        reasons = clearance.reasons(given, entrant.player, field, moment)
        if _went_ahead(given, entrant.player, field):
            reasons = [one for one in reasons if one.code != "already_on_field"]
        yield Offender(player=entrant.player, reasons=tuple(reasons))


def _went_ahead(given: Given, player: str, field: str) -> bool:
    """Whether he is on this very field, for no game yet: its gate had no network when he went in."""
    on = given.of(PRESENCE, player).on
    return on is not None and on.unasked is not None and on.field == field and on.game is None


def admission_subjects(command: AdmitPlayer | RecordEntry, given: Given) -> set[Subject]:
    """The field with its staff and its game, and all that clears the player."""
    wanted: set[Subject] = {(PRESENCE, command.player), *play.subjects(command.field, given)}
    wanted |= clearance.subjects(command.player, command.field)(given)
    game = command.game or given.of(FIELD, command.field).running
    return wanted | {(GAME, game)} if game else wanted


def admit_player(command: AdmitPlayer, given: Given, moment: Moment) -> Iterable[Data]:
    """One person through the gate. Who does not play is counted with the game that runs, if there is one."""
    part = known_player(given, command.player)
    _must_be_the_latest_word(given, [command.player], moment)
    field, _ = known_field(given, command.field)
    plays = part == "player"
    if plays and command.game is None:
        raise RuleForbids("A player enters a field for a game. Name the game.", where="$.game")
    if command.game is not None:
        must_be_on(known_game(given, command.game)[1], command.field)
    named = command.game or field.running
    reasons = against(command, given, moment, named, plays=plays)
    if reasons:
        return [
            AdmissionRefused(
                basis=moment.basis,
                reasons=tuple(reasons),
                player=command.player,
                field=command.field,
                game=named,
            )
        ]
    return [
        PlayerAdmitted(
            basis=moment.basis,
            player=command.player,
            part=part,
            field=command.field,
            game=named,
            colour=command.colour,
        )
    ]


def against(
    command: AdmitPlayer | RecordEntry, given: Given, moment: Moment, named: str | None, *, plays: bool
) -> list[Reason]:
    """Everything that stands against one person's entry: of the game that is named, of the field, and his own."""
    game = given.of(GAME, named) if named else None
    playing = (len(game.playing) if game else 0) + plays
    reasons = _game_reasons(game, command.player, plays=plays) if game else []
    reasons += play.reasons(given, command.field, moment, named, playing)
    return reasons + clearance.reasons(given, command.player, command.field, moment)


def _game_reasons(game: Game, player: str, *, plays: bool) -> list[Reason]:
    tag = f"game:{game.game}"
    if game.state != "live":
        return [reason("game_not_live", tag)]
    if not plays or game.called is None or game.called.format != "elimination":
        return []
    return [reason("out_for_good" if player in game.out else "game_closed", tag)]
