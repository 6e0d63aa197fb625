"""Custody: who holds a piece of gear, replayed from every move in the order in which the moves happened.

An issue, a hand-over or a swap was granted on what was known, so it says where the gear went. A return is a fact that anyone may report
at any time, and takes gear only from the one who held it then: reported after the marker was issued again, or twice, it takes it from nobody.
"""

from datetime import date, datetime

from msgspec import Struct

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Move(Struct, frozen=True):
    """Gear going to a taker, or without one to the counter. Only a return has a giver, and counts only if that is who held it."""

    place: Place
    day: date
    giver: str | None
    taker: str | None


Moves = tuple[Move, ...]


def holder(moves: Moves) -> str | None:
    """Who holds the gear after these moves; None: it lies at the counter."""
    last = last_move(moves)
    return last.taker if last else None


def last_move(moves: Moves) -> Move | None:
    """The move that brought the gear to where it is; a return that took it from nobody moved nothing."""
    last: Move | None = None
    for move in moves:
        if move.giver is None or (last is not None and move.giver == last.taker):
            last = move
    return last


def moved(moves: Moves, move: Move) -> Moves:
    """The moves with one more in its place. Those of earlier days shrink to whom they left the gear with, so the list stays short for ever."""
    ordered = sorted((*moves, move), key=lambda one: one.place)
    newest = max(one.day for one in ordered)
    earlier = tuple(one for one in ordered if one.day < newest)
    if len(earlier) < 2:
        return tuple(ordered)
    base = Move(earlier[-1].place, earlier[-1].day, None, holder(earlier))
    return (base, *(one for one in ordered if one.day == newest))
