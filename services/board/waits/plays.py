"""When each group plays: from the games that are planned, moved by how late today's games were.

From one start on a field to the next it takes a game, a break, and what today's took longer than planned: overruns, long breaks, stragglers at
the gate. These excesses are drawn anew for every game of a field and add up, so a range widens the further ahead it looks. Drawing whole
sums rather than adding variances keeps what a day has of long tails (one hold, one search). Who draws, and why a prior, as in `foretelling`.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from math import inf
from typing import Final

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from scipy.stats import norm

from contracts.board import Range
from contracts.rules import WaitRules
from contracts.waits import NextGame
from services.board.at_hand import AtHand
from services.board.rotation import ahead
from services.board.rotation_grounds import grounds, kept_until
from services.board.waits.foretelling import ATOMS, PLAYED, Floats
from services.board.waits.ranges import between, ranged
from services.clearance.field import FIELD
from services.games.rotation.model import Ground
from services.games.states import GAME, Game
from services.registration.states import PLAYER

MINUTE: Final = timedelta(minutes=1)


class Lateness:
    """By how many minutes more than planned it took from one start to the next: today's, and the prior's as so many more."""

    def __init__(self, today: Sequence[float], rules: WaitRules, seed: int) -> None:
        usual = norm.ppf((np.arange(ATOMS) + 0.5) / ATOMS, rules.late_minutes, rules.late_spread_minutes)
        self._minutes: Floats = np.array([*today, *usual], dtype=np.float64)
        weights = [1.0] * len(today) + [rules.late_games / ATOMS] * ATOMS
        self._rules = rules
        self._random = np.random.default_rng(seed)
        self._sums: Floats = np.cumsum(self._random.dirichlet(weights, PLAYED), axis=1)

    def drawn(self, games: int) -> Floats:
        """For so many games one after the other: a row for each time that the day is played out."""
        points = self._random.random((PLAYED, games))
        which = [np.searchsorted(sums, row) for sums, row in zip(self._sums, points, strict=True)]
        found: Floats = self._minutes[np.minimum(np.array(which), len(self._minutes) - 1)]
        return found

    def moved(self, planned: Floats) -> Floats:
        """What becomes of a promise as the plan is made anew: it moves the more the further ahead, and now and then a group misses its round."""
        rules, shape = self._rules, (PLAYED, len(planned))
        shifts = self._random.normal(0.0, rules.replanned, shape) * planned
        missed = self._random.random(shape) < rules.missed_rounds
        found: Floats = shifts + missed * self._random.uniform(0.0, 2 * rules.round_minutes, shape)
        return found


def starts(planned: Sequence[float], lateness: Lateness) -> Floats:
    """When who is planned for the games of one field plays, in minutes from now: a column for each game. `planned`: when they would begin, in order."""
    when: Floats = np.array(planned, dtype=np.float64)
    if not len(when):
        return np.zeros((PLAYED, 0))
    found: Floats = np.maximum(when + np.cumsum(lateness.drawn(len(planned)), axis=1) + lateness.moved(when), 0.0)
    return found


class Coming(Struct, frozen=True):
    """A game that is called or planned on a field: for whom, and when it would begin, in minutes from now, if all went as planned from here."""

    start: float
    minutes: float
    parties: tuple[str, ...]
    game: str | None = None


def lane(coming: Sequence[Coming], free_at: float, pause: float) -> list[Coming]:
    """The games of one field moved on to where the field is free and the one before is over."""
    found: list[Coming] = []
    for one in coming:
        start = max(one.start, free_at)
        found.append(replace(one, start=start))
        free_at = start + one.minutes + pause
    return found


def plays(at_hand: AtHand) -> dict[str, NextGame]:
    """The next game of everybody who is in the published plan, or called: by group, or by armband for who came alone."""
    moment, rules = at_hand.moment, at_hand.moment.rules
    lateness = Lateness(list(excesses(at_hand)), rules.waits, seed=moment.position)
    found: list[tuple[float, str, NextGame]] = []
    for ground in grounds(at_hand):
        coming, title = _coming(at_hand, ground.field), _title(at_hand, ground.field)
        moved = lane(coming, _free(at_hand, ground), rules.games.rotation.break_minutes)
        begun = starts([one.start for one in moved], lateness)
        for number, one in enumerate(moved):
            when = None if ground.free_at is None else ranged(begun[:, number], rules.waits.confidence)
            told = _told(ground.field, title, one, when, rules.waits)
            found += [(when.likely if when else inf, name, told) for name in one.parties]
    first: dict[str, NextGame] = {}
    for _, name, told in sorted(found, key=lambda one: one[:2]):
        first.setdefault(_named(at_hand, name), told)
    return first


def _told(field: str, title: str, coming: Coming, when: Range | None, rules: WaitRules) -> NextGame:
    if when is None:
        return NextGame(
            field=field, title=title, game=coming.game, says=f"On {title} once it is open: nobody knows when."
        )
    if when.likely > rules.told_minutes:
        return NextGame(
            field=field, title=title, says=f"On {title}, in more than {rules.told_minutes:g} minutes. Look again."
        )
    return NextGame(field=field, title=title, game=coming.game, starts=when, says=f"On {title} in {between(when)}.")


def excesses(at_hand: AtHand) -> Iterator[float]:
    """By how many minutes more than planned it took from each of today's starts to the next on the same field, where that one followed."""
    rules = at_hand.moment.rules
    for story in at_hand.fields:
        games = [at_hand.given.of(GAME, run.game) for run in story.runs.values() if run.day == at_hand.moment.day]
        begun = sorted((game for game in games if game.started and game.called), key=_started)
        for one, after in pairwise(begun):
            if one.over is None or one.called is None:
                continue
            pause = (_started(after) - one.over.place[0]) / MINUTE
            if 0 <= pause <= rules.waits.break_minutes:
                length = (_started(after) - _started(one)) / MINUTE
                yield length - one.called.minutes - rules.games.rotation.break_minutes


def _started(game: Game) -> datetime:
    if game.started is None:
        raise ValueError(f"Game {game.game} has not started.")
    return game.started


def _coming(at_hand: AtHand, field: str) -> list[Coming]:
    """The called game first, then those of the published plan."""
    now, story = at_hand.moment.now, at_hand.given.of(FIELD, field)
    waiting = at_hand.given.of(GAME, story.waiting).called if story.waiting else None
    called = []
    if waiting is not None:
        parties = dict.fromkeys(_party(at_hand, entrant.player) for entrant in waiting.entrants)
        called = [Coming(0.0, waiting.minutes, tuple(parties), waiting.game)]
    planned = (game for game in ahead(at_hand) if game.field == field)
    return [
        *called,
        *(
            Coming((game.start - now) / MINUTE, game.minutes, tuple(one.party for one in game.parties))
            for game in planned
        ),
    ]


def _free(at_hand: AtHand, ground: Ground) -> float:
    """Minutes from now until the field is free for the game that is called, or for the next; as of now where it is closed."""
    story = at_hand.given.of(FIELD, ground.field)
    waiting = at_hand.given.of(GAME, story.waiting).called if story.waiting else None
    if waiting is not None:
        return kept_until(at_hand)[waiting.game] - waiting.minutes
    return ground.free_at or 0.0


def _title(at_hand: AtHand, field: str) -> str:
    configured = at_hand.given.of(FIELD, field).configured
    return configured.title if configured else field


def _party(at_hand: AtHand, player: str) -> str:
    group = at_hand.given.of(PLAYER, player).group
    return f"group:{group}" if group else f"player:{player}"


def _named(at_hand: AtHand, party: str) -> str:
    """As anybody may read it."""
    kind, _, name = party.partition(":")
    return name if kind == "group" else f"armband:{at_hand.armband(name).number}"
