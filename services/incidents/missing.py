"""What an incident's record still lacks, so that it can be asked while people remember: the usual fields of a first-aid record (secondary text)."""

from collections.abc import Iterable, Mapping

from contracts.incident_reads import Lack
from contracts.rules import IncidentRules
from services.incidents.custody import holder, released
from services.incidents.record import Incident, Release
from services.incidents.reminders import reminded

HOSPITAL = frozenset({"taken_to_hospital", "admitted_to_hospital", "died"})


def missing(incident: Incident, releases: Mapping[str, Release], rules: IncidentRules) -> tuple[Lack, ...]:
    """Everything that is missing, in the order in which one would ask. `releases`: by piece of gear."""
    return (
        *_of_the_incident(incident),
        *_of_casualties(incident),
        *_of_help(incident),
        *_of_evidence(incident, releases),
        *_of_notifications(incident, rules),
    )


def _of_the_incident(incident: Incident) -> Iterable[Lack]:
    if incident.unreadable:
        yield Lack("unreadable", "Something was told of it that this software cannot read: look with a newer version.")
    if not incident.kind:
        yield Lack("incident", "What happened: record the incident itself.")
    if incident.field is None and incident.place is None:
        yield Lack("place", "Where it happened: record the field, or the place.")
    if incident.kind in {"injury", "near_miss"}:
        if incident.sky is None:
            yield Lack("sky", "The weather there.")
        if not incident.witnesses:
            yield Lack("witnesses", "Who saw it: ask while people remember. Their statements belong in the vault.")
        if incident.paint_batch is None and any(piece.startswith("marker:") for piece in incident.pieces):
            yield Lack("paint_batch", "The batch of the paint, as it stands on the box.")


def _of_casualties(incident: Incident) -> Iterable[Lack]:
    if incident.kind == "injury" and not incident.casualties:
        yield Lack("injury", "Who was hurt, what part of the body, which injury.")
    for whom in incident.casualties:
        for code, told, words in (
            ("injury", incident.injuries, "What was hurt, and how"),
            ("treatment", incident.treatments, "What was done for the casualty, and by whom"),
            ("outcome", incident.outcomes, "How it ended for the casualty"),
        ):
            if not any(one.whom == whom for one in told):
                yield Lack(code, f"{words}: {called(whom)}.", whom)


def called(whom: str) -> str:
    """A casualty as he may be spoken of: by his opaque id."""
    return whom.replace(":", " ", 1) or "somebody who is neither a player nor staff"


def _of_help(incident: Incident) -> Iterable[Lack]:
    taken = any(one.what in HOSPITAL for one in incident.outcomes)
    if (incident.emergency or taken) and not incident.called:
        yield Lack("help_called", "When the emergency services were called, and which.")
    for service in incident.called:
        if service not in incident.arrived:
            yield Lack("help_arrived", f"When it came: {service.replace('_', ' ')}.", service)


def _of_evidence(incident: Incident, releases: Mapping[str, Release]) -> Iterable[Lack]:
    for piece in incident.pieces:
        release = releases.get(piece)
        if holder(piece, incident.handlings, release) is None and not released(release, incident.since):
            yield Lack("custody", f"Who has it, and where it is kept, uncleaned: {piece.replace(':', ' ', 1)}.", piece)


def _of_notifications(incident: Incident, rules: IncidentRules) -> Iterable[Lack]:
    for due in reminded(incident, rules):
        if due.notified_at is None:
            code = due.reminder.code
            yield Lack("notification", f"Whether it was reported, if local law asks for it: {code}.", code)
