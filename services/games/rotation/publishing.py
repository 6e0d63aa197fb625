"""Publishing a plan: staging sends back what it was shown, with what it changed; the record keeps both apart.

Nobody is bound to a plan, and it admits nobody: whoever calls a game names its players, and at the start everybody's clearance is asked again.
"""

from collections.abc import Iterable, Sequence
from datetime import timedelta
from itertools import zip_longest
from typing import Final

from msgspec.structs import replace

from contracts.envelope import Data
from contracts.games import PublishRotation, RotationPublished
from contracts.problems import RuleForbids
from contracts.rotation import PlannedGame, Replanned, Turn
from services.clearance.field import FIELDS
from services.core.command import Moment, must_know
from services.core.fold import Given

Key = tuple[str, int]
NEAR: Final = timedelta(hours=24)
"""A plan is for the next hours; what lies further from now than a day is a slip of the finger."""


def publish_rotation(command: PublishRotation, given: Given, moment: Moment) -> Iterable[Data]:
    """Raises UnknownSubject for a field nobody configured; RuleForbids for a position that nothing has, a game over a day from now, two games at once on a field, or a party in two at once."""
    if command.position > moment.position:
        raise RuleForbids(
            f"The plan says that it rests on position {command.position}, but the record ends at {moment.position}. "
            "Send the position that came with the plan.",
            where="$.position",
        )
    games = command.proposed if command.games is None else command.games
    for game in games:
        must_know(game.field in given.of(FIELDS, "").names, f"field:{game.field}")
        if abs(game.start - moment.now) > NEAR:
            raise RuleForbids(
                f"The game on {game.field} from {game.start.isoformat()} lies more than a day from now; a plan is for the next hours. "
                "Correct its start, or drop it.",
                where="$.games",
            )
    _must_not_overlap([(game.field, game) for game in games], "Field")
    _must_not_overlap(list(_parties(games)), "Party")
    shown = {_what(game): game for game in command.proposed}
    return [
        RotationPublished(
            of=moment.day,
            plan=command.plan,
            rested_on=command.position,
            after=command.after,
            games=tuple(_fixed(game, shown.get(_what(game))) for game in games),
            overruled=overruled(command.proposed, games),
        )
    ]


def _parties(games: Sequence[PlannedGame]) -> Iterable[tuple[str, PlannedGame]]:
    """Every party with each of its games; whoever is in a game whole is in it with each of the parts that others have."""
    parts: dict[str, set[int]] = {}
    for one in (one for game in games for one in game.parties):
        parts.setdefault(one.party, set()).add(one.part)
    for game in games:
        for one in game.parties:
            for part in [one.part] if one.part else sorted(parts[one.party]):
                yield (f"{one.party} part {part}" if part else one.party), game


def _must_not_overlap(taken: Sequence[tuple[str, PlannedGame]], what: str) -> None:
    for (name, game), (after, later) in zip(ordered := sorted(taken, key=_order), ordered[1:], strict=False):
        if name == after and later.start < game.start + timedelta(minutes=game.minutes):
            raise RuleForbids(
                f"{what} {name} has two games at once: on {game.field} from {game.start.isoformat()} and on {later.field} from "
                f"{later.start.isoformat()}. Move or drop one of them.",
                where="$.games",
            )


def _order(one: tuple[str, PlannedGame]) -> tuple[str, float]:
    return one[0], one[1].start.timestamp()


def _what(game: PlannedGame) -> tuple[str, float, tuple[Key, ...]]:
    """A game as staging sees it: where, when and with whom."""
    return game.field, game.start.timestamp(), tuple(sorted((one.party, one.part) for one in game.parties))


def _fixed(game: PlannedGame, shown: PlannedGame | None) -> PlannedGame:
    """What staging made otherwise than it was shown is to stay so."""
    return replace(game, fixed=shown.fixed if shown is not None else True)


def overruled(shown: Iterable[PlannedGame], games: Iterable[PlannedGame]) -> tuple[Replanned, ...]:
    """Every party that is in other games than was proposed: game for game, in order of time."""
    before, after = _turns(shown), _turns(games)
    found: list[Replanned] = []
    for party, part in sorted({*before, *after}):
        had, has = before.get((party, part), []), after.get((party, part), [])
        gone, come = [one for one in had if one not in has], [one for one in has if one not in had]
        found += (
            Replanned(party=party, part=part, proposed=proposed, published=published)
            for proposed, published in zip_longest(gone, come)
        )
    return tuple(found)


def _turns(games: Iterable[PlannedGame]) -> dict[Key, list[Turn]]:
    found: dict[Key, list[Turn]] = {}
    for game in sorted(games, key=lambda one: one.start):
        for one in game.parties:
            found.setdefault((one.party, one.part), []).append(Turn(field=game.field, start=game.start))
    return found
