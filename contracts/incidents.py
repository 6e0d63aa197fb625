"""Incidents: who is unfit to play, and what went wrong. In an emergency call the emergency services first, then record."""

from typing import Annotated, ClassVar, Literal
from uuid import UUID

from msgspec import Meta

from contracts.envelope import Command, Data
from contracts.first_aid import (
    ANY_STAFF,
    EMERGENCY,
    BodyPart,
    Entry,
    Help,
    Injury,
    KeptAt,
    OfIncident,
    Outcome,
    Outside,
    ScenePlace,
    Side,
    Sky,
    Slip,
    TellOfIncident,
    Treatment,
)
from contracts.words import (
    BottleId,
    FieldId,
    GameId,
    IncidentId,
    MarkerId,
    MaskId,
    PersonId,
    PlayerId,
    RecordId,
    Role,
    StaffId,
)

MANAGER: frozenset[Role] = frozenset({"manager"})
PaintBatch = Annotated[
    str, Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9._/-]{0,39}$(?!\n)", description="The batch as it stands on the box.")
]
Code = Annotated[
    str, Meta(pattern=r"^[a-z][a-z0-9_-]{1,39}$(?!\n)", description="A short name in lower case, such as a reminder's.")
]
EntryId = Annotated[
    UUID, Meta(description="The id of the event that says it, as its receipt and the list of incidents give it.")
]
Unfitness = Literal["intoxicated", "injured", "medical"]


class PlayerUnfit(Data, frozen=True, kw_only=True):
    player: PlayerId
    cause: Unfitness


class RecordUnfit(Command, frozen=True, kw_only=True):
    """Record that a player is not fit to play. Any staff may; a first aider or a manager lifts it."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    FIRST: ClassVar[str] = EMERGENCY
    player: PlayerId
    cause: Unfitness


class PlayerFit(Data, frozen=True, kw_only=True):
    player: PlayerId


class DeclareFit(Command, frozen=True, kw_only=True):
    """Declare a player fit again."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"first_aider", "manager"})
    player: PlayerId


class IncidentRecorded(OfIncident, frozen=True, kw_only=True):
    kind: Literal["injury", "near_miss", "property", "missing_person"]
    field: FieldId | None
    game: GameId | None
    players: tuple[PlayerId, ...]
    markers: tuple[MarkerId, ...]
    masks: tuple[MaskId, ...]
    emergency_services: bool


class RecordIncident(TellOfIncident, frozen=True, kw_only=True):
    """Record an injury, a near miss or another incident with all it concerns. Names and notes do not belong here.

    Call the emergency services first. Markers and masks that it names are impounded: leave them uncleaned.
    """

    kind: Literal["injury", "near_miss", "property", "missing_person"]
    field: FieldId | None = None
    game: GameId | None = None
    players: tuple[PlayerId, ...] = ()
    markers: tuple[MarkerId, ...] = ()
    masks: tuple[MaskId, ...] = ()
    emergency_services: bool = False
    """Whether they were called."""


class InjuryRecorded(OfIncident, frozen=True, kw_only=True):
    """Who was hurt is a player, a worker (staff), or with neither named somebody else."""

    player: PlayerId | None
    worker: StaffId | None
    part: BodyPart
    side: Side | None
    injury: Injury


class RecordInjury(TellOfIncident, frozen=True, kw_only=True):
    """Record what was hurt, and how. A player who was hurt is not fit to play until he is declared fit. Of somebody who is neither a player nor staff name nobody: the vault keeps who he is."""

    player: PlayerId | None = None
    worker: StaffId | None = None
    part: BodyPart
    side: Side | None = None
    injury: Injury


class TreatmentGiven(OfIncident, frozen=True, kw_only=True):
    """`staff` gave it; None: somebody from outside."""

    player: PlayerId | None
    worker: StaffId | None
    treatment: Treatment
    staff: StaffId | None


class RecordTreatment(TellOfIncident, frozen=True, kw_only=True):
    """Record a treatment that was given to a casualty, and by whom."""

    player: PlayerId | None = None
    worker: StaffId | None = None
    treatment: Treatment
    staff: StaffId | None = None


class OutcomeRecorded(OfIncident, frozen=True, kw_only=True):
    player: PlayerId | None
    worker: StaffId | None
    outcome: Outcome


class RecordOutcome(TellOfIncident, frozen=True, kw_only=True):
    """Record how it ended for a casualty, as far as is known; what becomes known later is recorded beside it."""

    player: PlayerId | None = None
    worker: StaffId | None = None
    outcome: Outcome


class SceneRecorded(OfIncident, frozen=True, kw_only=True):
    place: ScenePlace | None
    sky: Sky | None
    paint_batch: PaintBatch | None
    bottles: tuple[BottleId, ...]
    tests: tuple[RecordId, ...]


class RecordScene(TellOfIncident, frozen=True, kw_only=True):
    """Record where on the field it was by a coarse word, the weather there, the paint's batch, bottles and tests that belong to it."""

    place: ScenePlace | None = None
    sky: Sky | None = None
    paint_batch: PaintBatch | None = None
    bottles: tuple[BottleId, ...] = ()
    tests: tuple[RecordId, ...] = ()
    """Velocity tests of the markers concerned."""


class HelpCalled(OfIncident, frozen=True, kw_only=True):
    service: Help


class RecordHelpCalled(TellOfIncident, frozen=True, kw_only=True):
    """Record that an emergency service was called, at the time of the call."""

    service: Help = "ambulance"


class HelpArrived(OfIncident, frozen=True, kw_only=True):
    service: Help


class RecordHelpArrived(TellOfIncident, frozen=True, kw_only=True):
    """Record that an emergency service has come, at the time it did."""

    service: Help = "ambulance"


class WitnessNamed(OfIncident, frozen=True, kw_only=True):
    person: PersonId | None
    player: PlayerId | None
    staff: StaffId | None


class NameWitness(TellOfIncident, frozen=True, kw_only=True):
    """Name somebody who saw it: a person, a player or staff. His statement is a note in the vault; both stay under the incident's legal hold."""

    person: PersonId | None = None
    player: PlayerId | None = None
    staff: StaffId | None = None


class CustodyTaken(OfIncident, frozen=True, kw_only=True):
    marker: MarkerId | None
    mask: MaskId | None
    bottle: BottleId | None
    staff: StaffId
    kept: KeptAt


class TakeCustody(TellOfIncident, frozen=True, kw_only=True):
    """Record who took gear in as evidence, uncleaned, and where it is kept. It is impounded from then on, until a manager releases it."""

    marker: MarkerId | None = None
    mask: MaskId | None = None
    bottle: BottleId | None = None
    staff: StaffId
    kept: KeptAt


class CustodyPassed(OfIncident, frozen=True, kw_only=True):
    """The taker is one of staff or, where `taker` is None, somebody outside the park."""

    marker: MarkerId | None
    mask: MaskId | None
    bottle: BottleId | None
    giver: StaffId
    taker: StaffId | None
    outside: Outside | None
    kept: KeptAt


class PassCustody(TellOfIncident, frozen=True, kw_only=True):
    """Record that evidence passed from one of staff to another, or to somebody outside the park. His name belongs in the vault."""

    marker: MarkerId | None = None
    mask: MaskId | None = None
    bottle: BottleId | None = None
    giver: StaffId
    taker: StaffId | None = None
    outside: Outside | None = None
    kept: KeptAt = "elsewhere"


class NotificationRecorded(OfIncident, frozen=True, kw_only=True):
    reminder: Code


class RecordNotification(TellOfIncident, frozen=True, kw_only=True):
    """Record that what a reminder asks for was reported, at the time it was."""

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    reminder: Code


class EntryWithdrawn(OfIncident, frozen=True, kw_only=True):
    """One entry of the record was never so. It stays in the log, and whoever of the visitors and whatever gear it named is named again, so that their stories tell of it."""

    entry: EntryId
    kind: Entry
    slip: Slip
    field: FieldId | None
    game: GameId | None
    players: tuple[PlayerId, ...]
    persons: tuple[PersonId, ...]
    markers: tuple[MarkerId, ...]
    masks: tuple[MaskId, ...]
    bottles: tuple[BottleId, ...]


class WithdrawEntry(Command, frozen=True, kw_only=True):
    """Withdraw one entry of an incident's record that was never so. Nothing is deleted; record anew what is right.

    What followed from the wrong name stays until somebody entitled ends it: gear stays impounded until a manager releases it, a player unfit until he is declared fit,
    the vault's data under legal hold until a manager lifts it. The list of incidents names what stays.
    """

    ROLES: ClassVar[frozenset[Role]] = frozenset({"first_aider", "head_referee", "manager"})
    incident: IncidentId
    entry: EntryId
    slip: Slip


class IncidentClosed(OfIncident, frozen=True, kw_only=True):
    """A manager holds the record complete, or closes it with what is missing said. Whatever is told later opens it again."""

    missing: tuple[Code, ...]
    """What it lacks, each kind once. Of whom or of what, the record itself says: a case file about one may not tell of another."""


class CloseIncident(Command, frozen=True, kw_only=True):
    """Close an incident's record. What is missing is named and refused, unless `incomplete` says that it is known to be; then it is recorded."""

    ROLES: ClassVar[frozenset[Role]] = MANAGER
    incident: IncidentId
    incomplete: bool = False
