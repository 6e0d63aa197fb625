"""Who may still be on a field after its game: whom the last head-count lacks, and how many of them."""

from contracts.board import Count
from services.board.at_hand import AtHand
from services.clearance.field import Field as FieldStory
from services.clearance.presence import PRESENCE, seen_elsewhere
from services.games.line_up import LINE_UP
from services.games.states import GAME


def count(at_hand: AtHand, story: FieldStory) -> Count | None:
    """The head-count that a field waits for."""
    run = next((run for run in story.runs.values() if run.uncounted), None)
    if run is None:
        return None
    counted = run.heads is not None and run.over is not None and run.heads.place >= run.over
    colours = at_hand.given.of(LINE_UP, run.game).colours
    who = missing(at_hand, story, run.game) if counted else ()
    return Count(
        game=run.game,
        counted=counted,
        short=short(at_hand, run.game, who),
        missing=tuple(at_hand.armband(player, colours.get(player)) for player in who),
    )


def missing(at_hand: AtHand, story: FieldStory, game: str) -> tuple[str, ...]:
    """Whom the last count of a game may have missed and nobody has seen elsewhere since."""
    heads, entered = story.runs[game].heads, at_hand.given.of(GAME, game).entered
    return tuple(
        player
        for player in (heads.missing if heads else ())
        if player not in entered or not seen_elsewhere(at_hand.given.of(PRESENCE, player), story.field, entered[player])
    )


def short(at_hand: AtHand, game: str, players: tuple[str, ...]) -> int:
    """How many of these are missing: all of them where the latest count does not say.

    Who was seen elsewhere since may have been among the heads, so that takes nobody off the number.
    """
    return min(at_hand.given.of(LINE_UP, game).short or len(players), len(players))


def unaccounted(at_hand: AtHand) -> set[str]:
    """Everybody who may be missing from a field that awaits its count, or is searched for."""
    return {
        player
        for story in at_hand.fields
        for run in story.runs.values()
        if run.heads is not None and (run.uncounted or run.heads.search_open)
        for player in missing(at_hand, story, run.game)
    }
