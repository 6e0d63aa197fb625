"""Today's people in numbers, and where they queue."""

from collections import Counter
from typing import Final

from contracts.board import Players, Result, Station, StationName
from services.board.at_hand import AtHand
from services.board.heads import unaccounted
from services.board.notes import LAST_RESULT
from services.board.results import STATIONS

PRIVATE: Final = {"unfit": "see_first_aid", "banned": "see_manager"}
"""Reasons that a wall does not tell of anybody: it sends him to where it is cleared."""


def told(code: str) -> str:
    """A reason's code as a wall may tell it."""
    return PRIVATE.get(code, code)


def counts(at_hand: AtHand) -> Players:
    """Everybody registered today is exactly one of: cleared, not cleared, on a field, gone home.

    Whoever may still be on a field after its game counts as not cleared until he is accounted for.
    """
    where, reasons, minors = Counter[str](), Counter[str](), 0
    lacking = unaccounted(at_hand)
    for player, verdict in at_hand.verdicts.items():
        here = verdict.whereabouts in {"cleared", "not_cleared"}
        sought = here and player in lacking
        where["not_cleared" if sought else verdict.whereabouts] += 1
        if here:
            reasons.update({told(one.code) for one in verdict.reasons})
        reasons["heads_missing"] += sought
        minors += verdict.minor and verdict.whereabouts != "gone_home"
    return Players(
        registered=where.total(),
        cleared=where["cleared"],
        not_cleared=where["not_cleared"],
        on_field=where["on_field"],
        gone_home=where["gone_home"],
        sitting_out=reasons["sitting_out"],
        stood_down=reasons["stood_down"],
        ejected=reasons["ejected"],
        minors_here=minors,
        reasons=dict((+reasons).most_common()),
    )


def stations(at_hand: AtHand) -> dict[StationName, Station]:
    """Every station, with its queue and its last result."""
    waiting = Counter(verdict.station for verdict in at_hand.verdicts.values())
    return {name: Station(waiting=waiting[name], last=_last(at_hand, name)) for name in STATIONS}


def _last(at_hand: AtHand, station: str) -> Result | None:
    last = at_hand.given.of(LAST_RESULT, station)
    return Result(what=last.what, at=last.place[0]) if last.place else None
