"""Alerts about the chronographs: one out of control, with whoever carries on a field what it measured; one whose check is overdue."""

from collections.abc import Iterable, Mapping

from contracts.board import Alert
from services.board.at_hand import AtHand
from services.clearance.presence import PRESENCE
from services.core.rules import operating_day
from services.games.line_up import LINE_UP
from services.velocity.chronos import last
from services.velocity.measured import CHRONOS, RECENT, Recent
from services.velocity.report import LATEST, standing
from services.velocity.states import BENCH, CHRONO

Carriers = dict[str, dict[str, list[str]]]
"""By chronograph and field: those on it, as they can be seen, whose marker no longer counts as measured."""


def chrono_alerts(at_hand: AtHand, titles: Mapping[str, str]) -> Iterable[Alert]:
    """Every chronograph that somebody must see to now, or whose markers somebody must."""
    moment, carriers = at_hand.moment, _carriers(at_hand)
    for name in sorted(at_hand.given.of(CHRONOS, "").names | carriers.keys()):
        chrono, recent = at_hand.given.of(CHRONO, name), at_hand.given.of(RECENT, name)
        found = standing(chrono, moment.now, moment.rules)
        checked_on = [operating_day(moment.rules, one.place[0]) for one in chrono.checks[-1:]]
        today = moment.day in {*checked_on, recent.day}
        check = last(chrono, (moment.now, LATEST))
        closed = check if found.doubt == "closed" and today else None
        if closed is not None or name in carriers:
            told = [_closed(name, recent)] if closed else []
            told += _on_fields(name, carriers.get(name, {}), titles, named=bool(told))
            yield Alert(kind="chrono_closed", sentence=" ".join(told), since=closed.place[0] if closed else None)
        elif found.doubt == "check_overdue" and today:
            sentence = f"Chronograph {name}: its check is overdue. Check it now: what it measures waits for a good one."
            yield Alert(kind="chrono_overdue", sentence=sentence, since=found.good_until)


def _carriers(at_hand: AtHand) -> Carriers:
    found: Carriers = {}
    for player, verdict in at_hand.verdicts.items():
        on = at_hand.given.of(PRESENCE, player).on if verdict.whereabouts == "on_field" else None
        doubted = [one.subject or "" for one in verdict.reasons if one.code == "chrono_untrusted"]
        for marker in doubted if on is not None else ():
            strings = at_hand.given.of(BENCH, marker.partition(":")[2]).tests
            colours = at_hand.given.of(LINE_UP, on.game).colours if on and on.game else {}
            number = at_hand.armband(player).number
            who = f"{colours[player]} {number}" if player in colours else f"armband {number}"
            fields = found.setdefault(strings[-1].chrono, {})
            fields.setdefault(on.field if on else "", []).append(who)
    return found


def _closed(name: str, recent: Recent) -> str:
    since = "since its last good check" if recent.good else "and never found good"
    return f"Chronograph {name} is out of control: measure on another. Markers measured on it {since}: {len(recent.markers)}."


def _on_fields(name: str, fields: Mapping[str, list[str]], titles: Mapping[str, str], *, named: bool) -> list[str]:
    """All of them, however many: each is to be taken off."""
    if not fields:
        return []
    where = "; ".join(f"{titles.get(field, field)}: {', '.join(sorted(who))}" for field, who in sorted(fields.items()))
    told = "Not cleared any more" if named else f"Measured on chronograph {name} and not cleared any more"
    return [f"{told}, on {where}. Cover on, off the field, retest."]
