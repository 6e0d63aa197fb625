"""How long a turn takes, from today's turns: a server's idle time is no service.

A turn is timed from the end of the one before it at the same server, where whoever it served stood in line by then: so handing over and
walking up count, and nobody was idle. Where that one came later, the server had nothing to do: only a beginning that was recorded
(a string that was opened) is believed then, and the turn is left out otherwise. At the desk nobody knows who stands there before he is
registered: a turn is timed where its first entry came soon after the end of the one before.
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, timedelta

from msgspec import Struct

from contracts.rules import WaitRules
from services.board.waits.turns import Turn

Due = Callable[[Turn], datetime | None]
"""Since when whoever a turn served stood in this line; None where that cannot be known."""


class Timed(Struct, frozen=True):
    """A turn's length in minutes, and how many it served."""

    minutes: float
    heads: int


def timed(done: Sequence[Turn], due: Due, rules: WaitRules) -> list[Timed]:
    """Every turn whose length can be told, in order of its end."""
    found = []
    for before, turn in _followed(done):
        begun = _begun(before, turn, due(turn), rules)
        if begun is not None and begun < turn.last:
            found.append(Timed((turn.last - begun) / timedelta(minutes=1), turn.heads))
    return found


def _followed(done: Sequence[Turn]) -> Iterator[tuple[Turn | None, Turn]]:
    """Each turn with the one before it at the same server."""
    latest: dict[str, Turn] = {}
    for turn in sorted(done, key=lambda one: (one.last, one.server)):
        yield latest.get(turn.server), turn
        latest[turn.server] = turn


def _begun(before: Turn | None, turn: Turn, due: datetime | None, rules: WaitRules) -> datetime | None:
    if before is not None:
        pause = timedelta(minutes=rules.pause_minutes if due is None else rules.break_minutes)
        if turn.first - before.last <= pause and (due is None or due <= before.last):
            return before.last
    return turn.first if turn.opened else None
