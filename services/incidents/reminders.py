"""What local rules may ask to be reported of an incident, and by when. Reminders, no statement of any law: that is for local law and whoever is licensed to advise on it."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from msgspec import Struct

from contracts.first_aid import Finding, Reminder
from contracts.rules import IncidentRules
from services.incidents.entries import Told
from services.incidents.record import Incident

WORKER = "worker:"


class Due(Struct, frozen=True):
    """A reminder that an incident brings up. `because`: the injuries and outcomes that do."""

    reminder: Reminder
    by: datetime
    because: tuple[str, ...]
    notified_at: datetime | None = None

    def overdue(self, now: datetime) -> bool:
        """Whether its time is over and nobody recorded that it was reported."""
        return self.notified_at is None and now > self.by


def reminded(incident: Incident, rules: IncidentRules) -> tuple[Due, ...]:
    """Every reminder that the incident brings up, the earliest due first. Of several findings the earliest counts."""
    found = (_due(incident, one) for one in rules.reminders)
    return tuple(sorted((one for one in found if one is not None), key=lambda one: (one.by, one.reminder.code)))


def overdue(incident: Incident, rules: IncidentRules, now: datetime) -> tuple[Due, ...]:
    return tuple(one for one in reminded(incident, rules) if one.overdue(now))


def _due(incident: Incident, reminder: Reminder) -> Due | None:
    told = [one for one in (*incident.injuries, *incident.outcomes) if _any(reminder.findings, one)]
    if not told:
        return None
    found = min(one.place[0] for one in told)
    since = found if reminder.since == "finding" else min(found, incident.happened or found)
    return Due(
        reminder=reminder,
        by=since + timedelta(hours=reminder.hours),
        because=tuple(dict.fromkeys(one.what for one in told)),
        notified_at=incident.notified.get(reminder.code),
    )


def _any(findings: Iterable[Finding], told: Told) -> bool:
    who = "worker" if told.whom.startswith(WORKER) else "visitor"
    return any(one.what == told.what and one.who in {who, "anybody"} for one in findings)
