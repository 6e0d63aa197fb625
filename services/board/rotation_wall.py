"""The published plan as the wall shows it: for each field its next games, about when and for which groups. It names nobody who came alone."""

from contracts.board import Coming
from contracts.rotation import PlannedGame
from services.board.at_hand import AtHand
from services.board.rotation import ahead

SHOWN = 2
"""Games of a field that are shown."""


def coming(at_hand: AtHand) -> dict[str, tuple[Coming, ...]]:
    """By field, in order of time."""
    found: dict[str, tuple[Coming, ...]] = {}
    for game in ahead(at_hand):
        before = found.get(game.field, ())
        if len(before) < SHOWN:
            found[game.field] = (*before, _one(game))
    return found


def _one(game: PlannedGame) -> Coming:
    names = [one.party.partition(":") for one in game.parties]
    return Coming(
        at=game.start,
        groups=tuple(name for kind, _, name in names if kind == "group"),
        players=sum(one.players for one in game.parties),
        alone=sum(kind == "player" for kind, _, _ in names),
        private=game.private,
    )
