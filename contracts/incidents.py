"""Incidents: who is unfit to play, and what went wrong. In an emergency call the emergency services first, then record."""

from typing import ClassVar, Literal

from contracts.envelope import Command, Data
from contracts.words import FieldId, GameId, IncidentId, MarkerId, MaskId, PlayerId, Role

ANY_STAFF: frozenset[Role] = frozenset(
    {"desk", "gear", "chrono", "staging", "referee", "head_referee", "first_aider", "manager"}
)
Unfitness = Literal["intoxicated", "injured", "medical"]


class PlayerUnfit(Data, frozen=True, kw_only=True):
    player: PlayerId
    cause: Unfitness


class RecordUnfit(Command, frozen=True, kw_only=True):
    """Record that a player is not fit to play. Any staff may; a first aider or a manager lifts it."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    player: PlayerId
    cause: Unfitness


class PlayerFit(Data, frozen=True, kw_only=True):
    player: PlayerId


class DeclareFit(Command, frozen=True, kw_only=True):
    """Declare a player fit again."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"first_aider", "manager"})
    player: PlayerId


class IncidentRecorded(Data, frozen=True, kw_only=True):
    incident: IncidentId
    kind: Literal["injury", "near_miss", "property", "missing_person"]
    field: FieldId | None
    game: GameId | None
    players: tuple[PlayerId, ...]
    markers: tuple[MarkerId, ...]
    masks: tuple[MaskId, ...]
    emergency_services: bool


class RecordIncident(Command, frozen=True, kw_only=True):
    """Record an injury, a near miss or another incident with all it concerns. Names and notes do not belong here."""

    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    incident: IncidentId
    kind: Literal["injury", "near_miss", "property", "missing_person"]
    field: FieldId | None = None
    game: GameId | None = None
    players: tuple[PlayerId, ...] = ()
    markers: tuple[MarkerId, ...] = ()
    masks: tuple[MaskId, ...] = ()
    emergency_services: bool = False
    """Whether they were called."""
