"""The open incidents: what is known of each, what is still missing, what may have to be reported and by when."""

from datetime import datetime
from typing import Literal

from msgspec import Struct

from contracts.first_aid import Entry, Slip
from contracts.read import Read
from contracts.words import Role

ASKING: frozenset[Role] = frozenset({"manager", "head_referee", "first_aider", "auditor"})
CAUTIONS: tuple[str, ...] = (
    "Reminders are rules of this park, no statement of any law. What must be reported, to whom and by when depends on local law and the insurer: ask someone licensed to advise on it.",
    "Leave mask, marker and bottle as they were found, uncleaned, until a manager releases them.",
    "First aid is given by whoever is trained and licensed for it where the park is.",
)


class Lack(Struct, frozen=True):
    """One thing that is missing from a record, and what to ask for. `subject`: whom or what it is about."""

    code: str
    sentence: str
    subject: str | None = None


class CasualtyShown(Struct, frozen=True, kw_only=True):
    """One who was hurt, by an opaque id: `player:…`, `worker:…`, or empty for somebody else. Each entry in the order of happening."""

    whom: str
    injuries: tuple[str, ...]
    treatments: tuple[str, ...]
    outcomes: tuple[str, ...]


class HelpShown(Struct, frozen=True, kw_only=True):
    service: str
    called_at: datetime | None
    arrived_at: datetime | None


class StepShown(Struct, frozen=True, kw_only=True):
    """One step of a chain of custody. `gap` says what does not fit what was recorded before; empty where it does."""

    at: datetime
    giver: str | None
    taker: str
    kept: str
    gap: str


class EvidenceShown(Struct, frozen=True, kw_only=True):
    """A piece of gear that is evidence, who has it, and how it came to him. Nobody has it while nobody took it in, and since it was released."""

    piece: str
    holder: str | None
    released_at: datetime | None
    custody: tuple[StepShown, ...]


class ReminderShown(Struct, frozen=True, kw_only=True):
    """Something that local rules may ask to be reported of it."""

    code: str
    title: str
    because: tuple[str, ...]
    by: datetime
    overdue: bool
    notified_at: datetime | None


class EntryShown(Struct, frozen=True, kw_only=True):
    """One entry that stands. `says`: what it tells, in a few words; of a witness nothing. `entry`: by which it is withdrawn."""

    entry: str
    kind: Entry
    at: datetime
    says: str


class Stays(Struct, frozen=True):
    """Something that followed from an entry and is not ended by its withdrawal. `subject`: whom or what it is about."""

    code: Literal["unfit", "impounded", "held"]
    sentence: str
    subject: str | None = None


class WithdrawnShown(Struct, frozen=True, kw_only=True):
    """An entry that was never so, when that was said, and what stays until somebody entitled ends it."""

    entry: str
    kind: Entry
    says: str
    slip: Slip
    withdrawn_at: datetime
    stays: tuple[Stays, ...]


class IncidentShown(Struct, frozen=True, kw_only=True):
    """`kind` is empty while nobody recorded the incident itself. Witnesses are only counted: a manager finds them in the record."""

    incident: str
    kind: str
    happened_at: datetime | None
    field: str | None
    game: str | None
    place: str | None
    sky: str | None
    paint_batch: str | None
    players: tuple[str, ...]
    bottles: tuple[str, ...]
    tests: tuple[str, ...]
    witnesses: int
    casualties: tuple[CasualtyShown, ...]
    help: tuple[HelpShown, ...]
    evidence: tuple[EvidenceShown, ...]
    missing: tuple[Lack, ...]
    reminders: tuple[ReminderShown, ...]
    entries: tuple[EntryShown, ...]
    withdrawn: tuple[WithdrawnShown, ...]


class OpenIncidents(Struct, frozen=True, kw_only=True):
    """Every incident that no manager has closed since something was last told of it, the newest first."""

    park: str
    as_of: datetime
    position: int
    first: str
    """What comes before any record."""
    incidents: tuple[IncidentShown, ...]
    cautions: tuple[str, ...]


INCIDENT_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/incidents",
        summary=(
            "The open incidents: what is still missing from each record, what local rules may ask to be reported and by when. "
            "If anybody is hurt, call the emergency services first."
        ),
        roles=ASKING,
        answer=OpenIncidents,
    ),
)
