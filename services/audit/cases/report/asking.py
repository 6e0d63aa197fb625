"""One incident's questions, put to its case: what stands on record of it."""

from collections.abc import Callable, Sequence
from typing import Any

from contracts.envelope import Data, Recorded
from contracts.incidents import IncidentRecorded, InjuryRecorded
from contracts.park import RulesAdopted
from contracts.rules import Rules
from services.audit.cases.dossier import Case
from services.audit.cases.report.content import Item
from services.audit.cases.report.first_aid import FirstAid
from services.audit.cases.report.moments import local


class Asking:
    """Entries of the incident's record that were withdrawn answer nothing; the report names them by themselves."""

    def __init__(self, case: Case, incident: Recorded[IncidentRecorded], zone: str) -> None:
        self.case = case
        self.incident = incident
        self.zone = zone
        self.first_aid = FirstAid(case, incident.data.incident, zone)
        self.rules: Rules = next(
            (one.data.rules for one in reversed(case.of(RulesAdopted)) if one.recorded_at <= incident.occurred_at),
            case.rules[0],
        )

    def hurt(self) -> list[str]:
        """The players whom the incident names, and those of whom an injury was told besides."""
        told = self.standing(InjuryRecorded, incident=self.incident.data.incident)
        named = (*self.incident.data.players, *(one.data.player for one in told if one.data.player is not None))
        return [player for player in dict.fromkeys(named) if player in self.case.players]

    def at(self, event: Recorded[Any]) -> str:
        return local(event.occurred_at, self.zone)

    def before(self, *kinds: type[Data], **fields: Any) -> list[Recorded[Any]]:
        """Events of these kinds and fields that happened up to the incident."""
        return [one for one in self.standing(*kinds, **fields) if one.occurred_at <= self.incident.occurred_at]

    def standing(self, *kinds: type[Data], **fields: Any) -> list[Recorded[Any]]:
        return [
            one
            for one in self.case.standing(*kinds)
            if all(getattr(one.data, name, None) == value for name, value in fields.items())
        ]

    def item(self, what: str, events: Sequence[Recorded[Any]], words: Callable[[Any], str]) -> Item:
        """What these events say, each with its time."""
        if not events:
            return Item(what)
        said = "; ".join(f"{words(one)} ({self.at(one)})" for one in events)
        return Item(what, said, tuple(one.position for one in events))
