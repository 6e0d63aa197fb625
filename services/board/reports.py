"""Whether something that happened may still have to be reported: the alert says so, and names nobody."""

from collections.abc import Iterable

from contracts.board import Alert
from contracts.first_aid import EMERGENCY
from services.board.at_hand import AtHand
from services.incidents.reminders import overdue
from services.incidents.telling import INCIDENT, OPEN


def report_alerts(at_hand: AtHand) -> Iterable[Alert]:
    """One alert for all that is overdue, since the first of it was."""
    rules, now = at_hand.moment.rules.incidents, at_hand.moment.now
    open_ones = [at_hand.given.of(INCIDENT, name) for name in at_hand.given.of(OPEN, "").names]
    late = [due for one in open_ones for due in overdue(one, rules, now)]
    if late:
        sentence = (
            "Manager: a report that local rules may ask for is overdue, or nobody recorded it. See the open incidents. "
            f"{EMERGENCY}"
        )
        yield Alert(kind="report_overdue", sentence=sentence, since=min(due.by for due in late))
