"""Whether each of today's people is cleared, and for which field that is asked."""

from collections.abc import Iterable, Mapping
from typing import Final

from contracts.envelope import Reason
from contracts.reasons import reason
from services.board.at_hand import Verdict, Whereabouts
from services.board.notes import Arrival
from services.clearance import model as clearance
from services.clearance.field import FIELD, FIELDS
from services.clearance.presence import PRESENCE
from services.core.command import Moment
from services.core.fold import Given
from services.games.states import GAME
from services.registration.model import is_minor
from services.registration.states import PLAYER

OF_THE_FIELD: Final = frozenset(
    {"too_young", "wrong_calibre", "wrong_firing_mode", "too_fast", "chrono_untrusted", "unknown_field"}
)
"""Reasons that may hold on one field and not on another."""
SENT_AWAY: Final = frozenset({"left_park", "banned", "ejected"})
"""Who has one of these queues nowhere."""


def called_to(given: Given) -> dict[str, str]:
    """For everybody on the list of a game that waits: the field that it waits for."""
    found: dict[str, str] = {}
    for field in given.of(FIELDS, "").names:
        waiting = given.of(FIELD, field).waiting
        called = given.of(GAME, waiting).called if waiting else None
        if called is not None:
            found |= dict.fromkeys((entrant.player for entrant in called.entrants), field)
    return found


def asked_fields(given: Given, player: str, arrival: Arrival, called: Mapping[str, str]) -> tuple[str, ...]:
    """The field he is on, is called to, or plays on in his rotation; else every field, of which one is enough."""
    on = given.of(PRESENCE, player).on
    one = on.field if on else called.get(player) or arrival.field
    return (one,) if one else tuple(sorted(given.of(FIELDS, "").names))


def judge(given: Given, player: str, fields: Iterable[str], moment: Moment) -> Verdict:
    """What is found of a player now."""
    field, reasons = _asked(given, player, fields, moment)
    who = given.of(PLAYER, player)
    whereabouts: Whereabouts = "not_cleared" if reasons else "cleared"
    if who.left:
        whereabouts = "gone_home"
    elif given.of(PRESENCE, player).on is not None:
        whereabouts = "on_field"
    waits = whereabouts == "not_cleared" and not any(one.code in SENT_AWAY for one in reasons)
    return Verdict(
        field=field,
        reasons=reasons,
        whereabouts=whereabouts,
        minor=is_minor(who.age_band, moment.rules),
        station=next((one.where for one in reasons if one.code != "sitting_out"), None) if waits else None,
    )


def _asked(given: Given, player: str, fields: Iterable[str], moment: Moment) -> tuple[str | None, tuple[Reason, ...]]:
    """The first field he is cleared for, else the one with the fewest reasons, which are returned with it.

    Other fields are not asked where something stands in the way that no field could change.
    """
    best: tuple[str | None, tuple[Reason, ...]] = (None, (reason("unknown_field"),))
    for field in fields:
        reasons = tuple(clearance.reasons(given, player, field, moment))
        if best[0] is None or len(reasons) < len(best[1]):
            best = (field, reasons)
        if any(one.code not in OF_THE_FIELD for one in reasons) or not reasons:
            break
    return best
