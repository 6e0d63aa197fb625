"""The head-count: after a game the field is released once everybody is known to be off it.

Somebody counts the heads that come off and types the number. Who was recorded out, has left the park, has entered another field or
was scanned elsewhere is not among them. Where the numbers differ, everybody who might be missing is named, until scans account
for them, or a referee signs that the field was walked and is empty, and the search goes on elsewhere, until the last of them is found.
"""

from collections.abc import Iterable

from contracts.envelope import Data
from contracts.games import CountHeads, FieldSwept, FindPlayer, HeadsCounted, PlayerFound, SweepField
from services.clearance.presence import PRESENCE, seen_elsewhere
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.games.model import known_game, known_player
from services.games.states import BESIDE, GAME


def count_subjects(command: CountHeads, given: Given) -> set[Subject]:
    """The game, and the whereabouts of everybody whom its count concerns."""
    wanted: set[Subject] = {(GAME, command.game)}
    game = given.of(GAME, command.game)
    if game.called is None:
        return wanted
    wanted.add((BESIDE, game.called.field))
    concerned = {*command.accounted, *game.on_field, *given.of(BESIDE, game.called.field).entered}
    return wanted | {(PRESENCE, player) for player in concerned}


def count_heads(command: CountHeads, given: Given, _: Moment) -> Iterable[Data]:
    """How many should have come off, and if fewer did, who might be missing."""
    game, called = known_game(given, command.game)
    for player in command.accounted:
        known_player(given, player)
    elsewhere = [
        player
        for player in game.on_field
        if seen_elsewhere(given.of(PRESENCE, player), called.field, game.entered[player])
    ]
    accounted = tuple(dict.fromkeys((*command.accounted, *elsewhere)))
    on_field = dict.fromkeys((*game.on_field, *_beside(given, called.field)))
    expected = [player for player in on_field if player not in accounted]
    return [
        HeadsCounted(
            field=called.field,
            game=command.game,
            expected=len(expected),
            counted=command.counted,
            accounted=accounted,
            missing=tuple(expected) if command.counted < len(expected) else (),
        )
    ]


def _beside(given: Given, field: str) -> Iterable[str]:
    """Who is on the field without being in a game."""
    for player in given.of(BESIDE, field).entered:
        on = given.of(PRESENCE, player).on
        if on is not None and on.field == field and on.game is None:
            yield player


def find_subjects(command: FindPlayer, _: Given) -> set[Subject]:
    return {(GAME, command.game), (PRESENCE, command.player)}


def find_player(command: FindPlayer, given: Given, _: Moment) -> Iterable[Data]:
    """Whoever is seen is not missing, whether a count lacked him or not: the next one does not expect him."""
    called = known_game(given, command.game)[1]
    known_player(given, command.player)
    return [PlayerFound(player=command.player, game=command.game, field=called.field, place=command.place)]


def sweep_field(command: SweepField, given: Given, _: Moment) -> Iterable[Data]:
    called = known_game(given, command.game)[1]
    return [FieldSwept(field=called.field, game=command.game, search_open=command.search_open)]
