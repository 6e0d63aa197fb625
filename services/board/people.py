"""Today's people in numbers, and where they queue."""

from collections import Counter
from typing import Final

from contracts.board import Players, Result, Station, StationName
from services.board.at_hand import PRIVATE, AtHand, Verdict
from services.board.notes import LAST_RESULT
from services.board.results import STATIONS
from services.registration.model import is_minor
from services.registration.states import PLAYER

NO_QUEUE: Final = frozenset({"left_park", "banned", "ejected", "sitting_out", "already_on_field"})
"""Nobody waits at a station for these."""


def counts(at_hand: AtHand) -> Players:
    """Everybody registered today is exactly one of: cleared, not cleared, on a field, gone home."""
    registered, cleared, not_cleared, on_field, gone, minors = 0, 0, 0, 0, 0, 0
    reasons = Counter[str]()
    for name, verdict in at_hand.verdicts.items():
        player = at_hand.given.of(PLAYER, name)
        registered += 1
        if player.left:
            gone += 1
            continue
        minors += is_minor(player.age_band, at_hand.moment.rules)
        if at_hand.field_of(name) is not None:
            on_field += 1
        elif verdict.reasons:
            not_cleared += 1
            reasons.update(PRIVATE.get(code, code) for code in verdict.codes)
        else:
            cleared += 1
    return Players(
        registered=registered,
        cleared=cleared,
        not_cleared=not_cleared,
        on_field=on_field,
        gone_home=gone,
        sitting_out=reasons["sitting_out"],
        stood_down=reasons["stood_down"],
        ejected=reasons["ejected"],
        minors_here=minors,
        reasons=dict(reasons.most_common()),
    )


def queues_at(verdict: Verdict) -> str | None:
    """The station that clears a player's first missing thing; None: he waits at none."""
    codes = verdict.codes
    if codes & {"left_park", "banned", "ejected"}:
        return None
    return next((one.where for one in verdict.reasons if one.code not in NO_QUEUE), None)


def stations(at_hand: AtHand) -> dict[StationName, Station]:
    """Every station, with its queue and its last result."""
    waiting = Counter(
        queues_at(verdict) for player, verdict in at_hand.verdicts.items() if at_hand.field_of(player) is None
    )
    return {name: Station(waiting=waiting[name], last=_last(at_hand, name)) for name in STATIONS}


def _last(at_hand: AtHand, station: str) -> Result | None:
    last = at_hand.given.of(LAST_RESULT, station)
    return Result(what=last.what, at=last.place[0]) if last.place else None
