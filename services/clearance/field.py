"""What a field itself says to whoever wants to enter: inspected today, not held, free, its last game's heads all off, and room enough."""

from datetime import date
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Reason, Recorded, Unknown
from contracts.games import (
    EntryRecorded,
    FieldConfigured,
    FieldInspected,
    FieldSwept,
    GameAbandoned,
    GameCalled,
    GameEnded,
    GameStarted,
    HeadsCounted,
    HoldAsked,
    HoldCause,
    HoldConfirmed,
    HoldLifted,
    OutVoided,
    PlayerFound,
)
from contracts.reasons import reason
from services.clearance import holds, runs
from services.clearance.holds import Hold, Place
from services.clearance.runs import Run, Runs
from services.core.command import Moment
from services.core.fold import Evolve, Fold


class Inspection(Struct, frozen=True):
    place: Place
    day: date
    passed: bool


class Field(Struct, frozen=True):
    """A field: its own limits, its inspection, its holds of the day, its games."""

    field: str
    configured: FieldConfigured | None = None
    inspection: Inspection | None = None
    holds: tuple[Hold, ...] = ()
    runs: Runs = {}
    unreadable: bool = False

    @property
    def waiting(self) -> str | None:
        """The game that is called and has not started."""
        return next((run.game for run in self.runs.values() if run.waiting), None)

    @property
    def running(self) -> str | None:
        """The game that is being played, or held."""
        return next((run.game for run in self.runs.values() if run.running), None)

    @property
    def standing(self) -> tuple[Hold, ...]:
        return tuple(hold for hold in self.holds if hold.lifted is None)


_BECAUSE: Final[dict[HoldCause, str]] = {
    "weather": "It is the weather.",
    "injury": "Somebody is hurt.",
    "mask_off": "A mask is off.",
    "intruder": "Somebody is inside who does not belong there.",
    "equipment": "It is the equipment.",
    "fire": "There is a fire.",
    "other": "",
}


def reasons(field: Field, moment: Moment, game: str | None = None, players: int = 0) -> list[Reason]:
    """Every reason of the field's own why nobody may enter it now. Empty: it is open.

    `game` is the one that asks, and is not in its own way; `players` is how many would then be playing on it.
    """
    tag = f"field:{field.field}"
    if field.unreadable:
        return [reason("record_not_understood", tag)]
    if field.configured is None:
        return [reason("unknown_field", tag)]
    found: list[Reason] = []
    inspection = field.inspection
    if inspection is None or inspection.day != moment.day:
        found.append(reason("field_not_inspected", tag))
    elif not inspection.passed:
        found.append(reason("field_failed_inspection", tag))
    found += [reason("field_on_hold", tag, _BECAUSE[hold.cause]) for hold in field.standing]
    for run in field.runs.values():
        if run.running and run.game != game:
            found.append(reason("field_occupied", tag, f"It is game {run.game}."))
        if run.uncounted:
            found.append(reason("heads_missing", tag, _missing(run)))
    if players > field.configured.capacity:
        found.append(reason("over_capacity", tag, f"It takes {field.configured.capacity}, not {players}."))
    return found


def _missing(run: Run) -> str:
    heads = run.heads
    if heads is None or (run.over and heads.place < run.over):
        return f"Game {run.game} awaits its count."
    if heads.counted > heads.expected:
        return (
            f"Game {run.game}: {heads.counted} came off where {heads.expected} were expected. Count again; if it stays so, "
            "find out who went on without being let in, and sweep the field."
        )
    again = " Somebody was recorded out by mistake and not expected: count again." if heads.overtaken else ""
    return f"Game {run.game}: {', '.join(heads.missing) or 'nobody is named'}.{again}"


def _configured(field: Field, event: Recorded[FieldConfigured]) -> Field:
    return replace(field, configured=event.data)


def _inspected(field: Field, event: Recorded[FieldInspected]) -> Field:
    place = (event.occurred_at, event.position)
    if field.inspection is not None and place < field.inspection.place:
        return field
    return replace(field, inspection=Inspection(place, event.day, event.data.passed))


def _asked(field: Field, event: Recorded[HoldAsked]) -> Field:
    return replace(field, holds=holds.asked(field.holds, event))


def _confirmed(field: Field, event: Recorded[HoldConfirmed]) -> Field:
    return replace(field, holds=holds.confirmed(field.holds, event))


def _lifted(field: Field, event: Recorded[HoldLifted]) -> Field:
    return replace(field, holds=holds.lifted(field.holds, event))


def _called(field: Field, event: Recorded[GameCalled]) -> Field:
    return replace(field, runs=runs.called(field.runs, event))


def _started(field: Field, event: Recorded[GameStarted]) -> Field:
    return replace(field, runs=runs.started(field.runs, event))


def _over(field: Field, event: Recorded[GameEnded] | Recorded[GameAbandoned]) -> Field:
    return replace(field, runs=runs.over(field.runs, event))


def _counted(field: Field, event: Recorded[HeadsCounted]) -> Field:
    return replace(field, runs=runs.counted(field.runs, event))


def _swept(field: Field, event: Recorded[FieldSwept]) -> Field:
    return replace(field, runs=runs.swept(field.runs, event))


def _found(field: Field, event: Recorded[PlayerFound]) -> Field:
    return replace(field, runs=runs.found(field.runs, event))


def _overlooked(field: Field, event: Recorded[OutVoided] | Recorded[EntryRecorded]) -> Field:
    return replace(field, runs=runs.overlooked(field.runs, event))


def _unreadable(field: Field, _: Recorded[Unknown]) -> Field:
    return replace(field, unreadable=True)


_FIELD: dict[type[Data], Evolve[Field]] = {
    FieldConfigured: _configured,
    FieldInspected: _inspected,
    HoldAsked: _asked,
    HoldConfirmed: _confirmed,
    HoldLifted: _lifted,
    GameCalled: _called,
    GameStarted: _started,
    GameEnded: _over,
    GameAbandoned: _over,
    HeadsCounted: _counted,
    FieldSwept: _swept,
    PlayerFound: _found,
    OutVoided: _overlooked,
    EntryRecorded: _overlooked,
    Unknown: _unreadable,
}
FIELD: Fold[Field] = Fold("clearance.field", "field", Field, _FIELD)


class Fields(Struct, frozen=True):
    """Every field that the park has configured."""

    names: frozenset[str] = frozenset()


def _known(fields: Fields, event: Recorded[FieldConfigured]) -> Fields:
    return Fields(fields.names | {event.data.field})


FIELDS: Fold[Fields] = Fold("clearance.fields", "fields", lambda _: Fields(), {FieldConfigured: _known})
