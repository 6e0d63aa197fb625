"""What a referee's handheld shows of one field: its game, the clock as facts, who can be named by a touch, holds, heads, calls for first aid.

It sets nobody a target: who is off is known so that nobody is recorded twice, and is counted for no one.
"""

from collections.abc import Iterable
from typing import cast

from contracts.board import StandingHold
from contracts.handheld import AidCall, Choice, Counting, Gathered, Handheld, Playing, Worn
from contracts.reasons import REASONS
from contracts.words import Colour
from services.clearance.field import FIELD, Field
from services.clearance.presence import PRESENCE, seen_elsewhere
from services.clearance.runs import Run
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.equipment.kit import KIT
from services.games import showing
from services.games.first_aid import CALLS
from services.games.line_up import LINE_UP
from services.games.model import known_field
from services.games.states import GAME, Game
from services.registration.states import PLAYER


def subjects(field: str, given: Given) -> set[Subject]:
    """The field, its games that are not settled, and everybody in them."""
    wanted: set[Subject] = {(FIELD, field), (CALLS, "")}
    for run in _unsettled(given.of(FIELD, field)):
        wanted |= {(GAME, run.game), (LINE_UP, run.game)}
        wanted |= {(fold, who) for who in _people(given.of(GAME, run.game)) for fold in (PLAYER, PRESENCE, KIT)}
    return wanted


def _unsettled(field: Field) -> list[Run]:
    return [run for run in field.runs.values() if run.waiting or run.running or run.uncounted or _searching(run)]


def _searching(run: Run) -> bool:
    return run.heads is not None and run.heads.search_open


def _people(game: Game) -> dict[str, None]:
    """Whoever was let in; before the start, whoever was called."""
    if game.started is None and game.called is not None:
        return dict.fromkeys(entrant.player for entrant in game.called.entrants)
    return dict.fromkeys(game.entered)


def view(park: str, epoch: int, field: str, given: Given, moment: Moment) -> Handheld:
    """The whole answer; raises UnknownSubject for a field that the record does not know."""
    story, configured = known_field(given, field)
    closed = showing.closed(story, moment)
    briefed = story.waiting is not None and given.of(LINE_UP, story.waiting).heard
    rules = moment.rules
    return Handheld(
        park=park,
        field=field,
        title=configured.title,
        epoch=epoch,
        position=moment.position,
        as_of=moment.now,
        time_zone=rules.time_zone,
        state=showing.state(story, closed=bool(closed), briefed=briefed),
        why=tuple(REASONS[code].sentence for code in closed),
        limit=showing.limit(configured, rules.velocity),
        unit=rules.velocity.unit,
        holds=tuple(
            StandingHold(
                hold=one.hold,
                cause=one.cause,
                asked_at=one.asked[0],
                confirmed_at=one.confirmed[0] if one.confirmed else None,
            )
            for one in story.standing
        ),
        playing=_playing(story, given, moment),
        gathered=_gathered(story, given),
        counting=tuple(_counting(run, given) for run in story.runs.values() if run.uncounted or _searching(run)),
        aid=tuple(
            AidCall(call=one.call, place=one.place, at=one.at) for one in given.of(CALLS, "").open if one.field == field
        ),
        violations=_violations(moment),
        undo_minutes=rules.games.undo_minutes,
    )


def _violations(moment: Moment) -> tuple[Choice, ...]:
    """What this device's roles may record, the lightest first as the catalogue has them."""
    head = bool(moment.roles & {"head_referee", "manager"})
    entries = (one for one in moment.rules.discipline.catalogue if head or moment.roles & set(one.by))
    return tuple(Choice(code=one.code, title=one.title, weight=one.weight) for one in entries)


def _playing(field: Field, given: Given, moment: Moment) -> Playing | None:
    game = given.of(GAME, field.running) if field.running else None
    clock = showing.clock(field, game, moment.now) if game else None
    if game is None or clock is None or game.called is None:
        return None
    return Playing(game=game.game, format=game.called.format, clock=clock, people=_worn(_people(game), game, given))


def _gathered(field: Field, given: Given) -> Gathered | None:
    game = given.of(GAME, field.waiting) if field.waiting else None
    if game is None or game.called is None:
        return None
    called = game.called
    people = _worn(_people(game), game, given)
    briefed = given.of(LINE_UP, game.game).heard
    return Gathered(game=game.game, format=called.format, minutes=called.minutes, briefed=briefed, people=people)


def _counting(run: Run, given: Given) -> Counting:
    """What the latest count after the game's end says. Before it nothing is told that could be typed in its stead."""
    game, heads = given.of(GAME, run.game), run.heads
    people = _worn(_people(game), game, given)
    if heads is None or run.over is None or heads.place < run.over:
        return Counting(game=run.game, people=people)
    field = game.called.field if game.called else ""
    missing = [
        player
        for player in heads.missing
        if player not in game.entered or not seen_elsewhere(given.of(PRESENCE, player), field, game.entered[player])
    ]
    return Counting(
        game=run.game,
        people=people,
        counted=heads.counted,
        expected=heads.expected,
        missing=_worn(missing, game, given),
        search_open=heads.search_open,
    )


def _worn(players: Iterable[str], game: Game, given: Given) -> tuple[Worn, ...]:
    """In order of colours and numbers."""
    colours, inside = given.of(LINE_UP, game.game).colours, set(game.on_field)
    found = []
    for player in players:
        who, markers = given.of(PLAYER, player), given.of(KIT, player).markers
        found.append(
            Worn(
                player=player,
                armband=who.armband,
                colour=cast("Colour | None", colours.get(player)),
                part=who.part,
                marker=markers[0] if len(markers) == 1 else None,
                off=game.started is not None and player not in inside,
            )
        )
    return tuple(sorted(found, key=lambda one: (one.colour or "~", one.armband)))
