"""The vault: names, birth dates, signatures and all free text, sealed outside the log. The log has their digests, and who recorded them.

Whether personal data may be kept, must be kept or must be erased is for local law; nothing here decides that.
"""

from datetime import datetime
from typing import Annotated, ClassVar, Literal
from uuid import UUID

from msgspec import Meta, Struct

from contracts.envelope import Command, Data, Grant, Reason, Refusal
from contracts.problems import UnknownSubject
from contracts.read import BEHIND_A_KEY, Read
from contracts.words import AgeBand, CautionId, Day, IncidentId, Instant, PersonId, PlayerId, RecordId, Role

DetailId = Annotated[
    RecordId, Meta(extra={"tag": "detail"}, description="Names one detail in the vault, unique in the park.")
]
LegalHoldId = Annotated[
    RecordId, Meta(extra={"tag": "legal_hold"}, description="Names one legal hold, unique in the park.")
]
Kind = Literal["name", "birth_date", "contact", "signature", "medical", "note"]
HoldCause = Annotated[
    Literal["claim", "legal_proceedings", "insurer", "authority", "investigation"],
    Meta(description="Why the data must stay. Particulars belong in a note in the vault."),
]
Digest = Annotated[
    str,
    Meta(
        pattern=r"^[0-9a-f]{64}$(?!\n)",
        description="HMAC-SHA-256 under the person's own key, in hex. Once that key is destroyed it says nothing any more.",
    ),
]
Text = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=100_000,
        description="The detail itself; a birth date as YYYY-MM-DD. It is sealed, and never comes into the log.",
    ),
]
People = Annotated[tuple[PersonId, ...], Meta(min_length=1, max_length=400)]

MANAGER: frozenset[Role] = frozenset({"manager"})
RECORDERS: dict[Kind, frozenset[Role]] = {
    "name": frozenset({"desk", "manager"}),
    "birth_date": frozenset({"desk", "manager"}),
    "contact": frozenset({"desk", "first_aider", "manager"}),
    "signature": frozenset({"desk", "manager"}),
    "medical": frozenset({"desk", "first_aider", "manager"}),
    "note": frozenset({"desk", "first_aider", "head_referee", "manager"}),
}
"""Who records which kind. Only a manager reads them."""
CAUTIONS: tuple[str, ...] = (
    "Whether personal data may be kept, must be kept or must be erased is for local law. Ask someone licensed to advise on it.",
    "The claims period is a rule of this park, not the law's. Set your own, and ask the insurer.",
    "Hand this only to the person it is about, or to his guardian, once you have made sure who is asking.",
)


class About(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What else a detail is about: a witness's note on an incident, a head referee's on a caution."""

    incident: IncidentId | None = None
    caution: CautionId | None = None
    player: PlayerId | None = None


class DetailKept(Data, frozen=True, kw_only=True):
    """A detail lies in the vault, under the id of this very event."""

    person: PersonId
    entry: DetailId
    kind: Kind
    digest: Digest
    about: About


class KeepDetail(Command, frozen=True, kw_only=True):
    """Keep a name, a birth date, a contact, a signature, a medical note or another note about a person in the vault.

    Nothing of the text comes into the log: it holds a digest that nobody can guess from, and that says nothing once the person is erased.
    """

    ROLES: ClassVar[frozenset[Role]] = frozenset[Role]().union(*RECORDERS.values())
    person: PersonId
    entry: DetailId
    kind: Kind
    text: Text
    about: About = About()


class LegalHoldPlaced(Data, frozen=True, kw_only=True):
    hold: LegalHoldId
    persons: People
    incident: IncidentId | None
    cause: HoldCause


class PlaceLegalHold(Command, frozen=True, kw_only=True):
    """Place a legal hold: what is kept about these persons stays until it is lifted.

    Who was a player in a recorded injury, or is a witness of an incident, is on hold without it.
    """

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    hold: LegalHoldId
    persons: People
    incident: IncidentId | None = None
    cause: HoldCause


class LegalHoldLifted(Data, frozen=True, kw_only=True):
    """A hold, or the one that a recorded injury brings of itself, stands no longer about these persons."""

    hold: LegalHoldId | None
    incident: IncidentId | None
    persons: tuple[PersonId, ...]


class LiftLegalHold(Command, frozen=True, kw_only=True):
    """Lift a legal hold by its own name, or the one of a recorded injury by the name of the incident: one of the two.

    Of an incident's, `persons` names whose is lifted, where somebody was named by mistake; all of it when absent.
    Whether the data may go is for local law, the insurer and whoever is licensed to advise on it.
    """

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    hold: LegalHoldId | None = None
    incident: IncidentId | None = None
    persons: tuple[PersonId, ...] = ()


class PersonErased(Grant, frozen=True, kw_only=True):
    """The person's key is destroyed, and what the vault had sealed under it."""

    ALSO: ClassVar[tuple[str, ...]] = ("erasures",)
    person: PersonId


class ErasureRefused(Refusal, frozen=True, kw_only=True):
    person: PersonId


class ErasureReapplied(Data, frozen=True, kw_only=True):
    """The ledger outside tells of an erasure that this log has lost with the restore of an older backup; it holds again."""

    ALSO: ClassVar[tuple[str, ...]] = ("erasures",)
    person: PersonId
    erasure: UUID
    """The id of the event that was lost."""
    erased_at: Instant


class ErasePerson(Command, frozen=True, kw_only=True):
    """Erase what the vault keeps about a person, for good. Refused, on the record, while a legal hold or a claims period stands.

    Whether data may or must be erased is for local law. What the log says by opaque ids stays, and every proof over it.
    """

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    person: PersonId


class ReportMade(Data, frozen=True, kw_only=True):
    """Somebody has been shown all that is kept about a person."""

    person: PersonId


class Kept(Struct, frozen=True, kw_only=True):
    """One detail, opened, with when and by whom it was recorded."""

    entry: str
    kind: Kind
    text: str | None
    """None where it cannot be read any more; `fault` says why."""
    fault: str
    about: About
    position: int
    occurred_at: datetime
    recorded_at: datetime
    device: str
    actor: str | None


class Mention(Struct, frozen=True, kw_only=True):
    """One event about the person, or about a player that he was."""

    position: int
    id: UUID
    type: str
    occurred_at: datetime
    recorded_at: datetime
    device: str
    actor: str | None


class AccessReport(Struct, frozen=True, kw_only=True):
    """All that the record and the vault hold about one person, for that person. That it was made is itself on the record."""

    park: str
    person: PersonId
    made_at: datetime
    position: int
    """Of the event that says that this report was made."""
    age_band: AgeBand | None
    erased_at: datetime | None
    details: tuple[Kept, ...]
    players: tuple[str, ...]
    """Who he was on the days that he played."""
    events: tuple[Mention, ...]
    looked: tuple[Mention, ...]
    """Every report that was made about him, this one last."""
    in_the_way: tuple[Reason, ...]
    """What would block an erasure at this moment: holds, and the claims period."""
    claims_until: Day | None
    cautions: tuple[str, ...]


READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/vault/persons/{person}",
        summary=(
            "All that is kept about one person, opened, for that person. Each time it is asked leaves an event of its own: "
            "no personal data are read without a trace."
        ),
        roles=MANAGER,
        answer=AccessReport,
        problems=(*BEHIND_A_KEY, UnknownSubject),
    ),
)
