"""Any moment of a park's past, on both axes: as it was recorded by then, and as it had happened by then, known later."""

from datetime import datetime
from typing import Annotated, Any

from msgspec import Meta, Struct

from contracts.board import Status
from contracts.envelope import Basis, Reason
from contracts.problems import PositionAhead
from contracts.read import BEHIND_A_KEY, Parameter, Read
from contracts.what_if import AUDITORS
from contracts.words import FieldId, Instant

Point = Annotated[
    str,
    Meta(
        pattern=r"^([0-9]{1,9}:[0-9]{1,18}|[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:.]{5,15}(Z|[+-][0-9]{2}:[0-9]{2}))$(?!\n)",
        examples=["1:812", "2026-05-09T13:50:00Z"],
        description="A point of the log: `<epoch>:<position>`, or an instant (what had been recorded by then).",
    ),
]


class Side(Struct, frozen=True, kw_only=True):
    """One answer. It rests on the log up to `basis.position`, and is given for the moment `basis.now`."""

    cleared: bool
    reasons: tuple[Reason, ...]
    basis: Basis


class Late(Struct, frozen=True, kw_only=True):
    """An event that was told later than it happened, or that corrects an earlier one as far back as that."""

    epoch: int
    position: int
    type: str
    occurred_at: datetime
    effective_at: datetime
    """When it took effect: earlier than it happened where it is a correction that reaches back."""
    recorded_at: datetime
    sentence: str
    why: str
    """Why a correction reaches back, empty where it is none."""


class ClearanceAt(Struct, frozen=True, kw_only=True):
    """A player's clearance for a field at a moment, on both axes, and what makes the difference."""

    park: str
    player: str
    field: str
    time_zone: str
    as_recorded: Side
    as_happened: Side
    differ: bool
    difference: str
    """The difference in one sentence, or that there is none."""
    because: tuple[Late, ...]


class Shown(Struct, frozen=True, kw_only=True):
    """One thing that the board shows otherwise on the two axes. `because`: positions of what was told late about it."""

    where: str
    as_recorded: Any
    as_happened: Any
    because: tuple[int, ...]


class StatusAt(Struct, frozen=True, kw_only=True):
    """The park's live status at a moment, on both axes, and where they differ."""

    as_recorded: Status
    as_happened: Status
    differences: tuple[Shown, ...]
    late: tuple[Late, ...]
    """What was told after that moment of what had happened, or held, by then on that day."""


POINTS = (
    Parameter(
        name="as_recorded",
        kind=Point,
        description="What the record held at this point. That of `as_happened` when absent, or else now.",
    ),
    Parameter(
        name="as_happened",
        kind=Instant,
        description="What had happened by this moment, whenever it was told. The moment of `as_recorded` when absent.",
    ),
    Parameter(
        name="as_known",
        kind=Point,
        description="Told by this point: what happened counts only so far. All that is recorded by now, when absent.",
    ),
)
MOMENT_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/audit/clearance/{player}",
        summary="Was this player cleared for a field at a moment: on what was recorded, and as it happened? Where do the two differ?",
        roles=AUDITORS,
        answer=ClearanceAt,
        parameters=(
            Parameter(name="field", kind=FieldId, description="The field that he wanted to enter.", required=True),
            *POINTS,
        ),
        problems=(*BEHIND_A_KEY, PositionAhead),
    ),
    Read(
        path="/parks/{park}/audit/status",
        summary="The park's live status at a moment: on what was recorded, and as it happened. Where do the two differ?",
        roles=AUDITORS,
        answer=StatusAt,
        parameters=POINTS,
        problems=(*BEHIND_A_KEY, PositionAhead),
    ),
)
