"""What a field itself says to whoever wants to enter: inspected today, not held, free, its last game's heads all off, and room enough."""

from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Reason, Recorded, Unknown
from contracts.games import (
    FieldConfigured,
    FieldInspected,
    FieldSwept,
    GameAbandoned,
    GameCalled,
    GameEnded,
    GameStarted,
    HeadsCounted,
    HoldAsked,
    HoldConfirmed,
    HoldLifted,
)
from contracts.reasons import reason
from services.clearance import holds
from services.clearance.holds import Hold, Place
from services.core.command import Moment
from services.core.fold import Evolve, Fold


class Inspection(Struct, frozen=True):
    place: Place
    day: date
    passed: bool


class Heads(Struct, frozen=True):
    """The latest word on whether everybody came off: a count, or a signed sweep."""

    place: Place
    settled: bool
    missing: tuple[str, ...] = ()
    search_open: bool = False


class Run(Struct, frozen=True):
    """One game as its field sees it."""

    game: str
    day: date
    started: bool = False
    over: Place | None = None
    heads: Heads | None = None

    @property
    def waiting(self) -> bool:
        """Called and not begun."""
        return not self.started and self.over is None

    @property
    def running(self) -> bool:
        return self.started and self.over is None

    @property
    def uncounted(self) -> bool:
        """It is over, and not everybody is known to be off the field. A count of before the end says nothing."""
        if not self.started or self.over is None:
            return False
        return self.heads is None or self.heads.place < self.over or not self.heads.settled


class Field(Struct, frozen=True):
    """A field: its own limits, its inspection, its holds of the day, its games."""

    field: str
    configured: FieldConfigured | None = None
    inspection: Inspection | None = None
    holds: tuple[Hold, ...] = ()
    runs: dict[str, Run] = {}
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
    found += [reason("field_on_hold", tag, f"Hold {hold.hold}: {hold.cause}.") for hold in field.standing]
    for run in field.runs.values():
        if run.running and run.game != game:
            found.append(reason("field_occupied", tag, f"It is game {run.game}."))
        if run.uncounted:
            found.append(reason("heads_missing", tag, _missing(run)))
    if players > field.configured.capacity:
        found.append(reason("over_capacity", tag, f"It takes {field.configured.capacity}, not {players}."))
    return found


def _missing(run: Run) -> str:
    missing = run.heads.missing if run.heads else ()
    return f"Game {run.game}: {', '.join(missing)}." if missing else f"Game {run.game} awaits its count."


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


def _with(field: Field, run: Run) -> Field:
    return replace(field, runs={**field.runs, run.game: run})


def _called(field: Field, event: Recorded[GameCalled]) -> Field:
    """A game that is called anew changes nothing here. Settled games of earlier days are forgotten."""
    if event.data.game in field.runs:
        return field
    kept = {
        game: run
        for game, run in field.runs.items()
        if run.day >= event.day or run.waiting or run.running or run.uncounted
    }
    return _with(replace(field, runs=kept), Run(event.data.game, event.day))


def _started(field: Field, event: Recorded[GameStarted]) -> Field:
    run = field.runs.get(event.data.game, Run(event.data.game, event.day))
    return _with(field, replace(run, started=True))


def _over(field: Field, event: Recorded[GameEnded] | Recorded[GameAbandoned]) -> Field:
    """The first end counts, by when it happened. A game not known any more was settled on an earlier day."""
    run = field.runs.get(event.data.game)
    if run is None:
        return field
    place = (event.occurred_at, event.position)
    return _with(field, replace(run, over=place if run.over is None else min(run.over, place)))


def _heads(field: Field, game: str, heads: Heads) -> Field:
    run = field.runs.get(game)
    if run is None or (run.heads is not None and heads.place < run.heads.place):
        return field
    return _with(field, replace(run, heads=heads))


def _counted(field: Field, event: Recorded[HeadsCounted]) -> Field:
    data = event.data
    settled = data.counted == data.expected
    return _heads(field, data.game, Heads((event.occurred_at, event.position), settled, data.missing))


def _swept(field: Field, event: Recorded[FieldSwept]) -> Field:
    """A sweep settles the field where the count named nobody, or where the search for them stays open."""
    run = field.runs.get(event.data.game)
    counted = run.heads if run else None
    missing = counted.missing if counted else ()
    settled = event.data.search_open or (counted is not None and not missing)
    place = (event.occurred_at, event.position)
    return _heads(field, event.data.game, Heads(place, settled, missing, event.data.search_open))


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
    Unknown: _unreadable,
}
FIELD: Fold[Field] = Fold("clearance.field", "field", Field, _FIELD)


class Fields(Struct, frozen=True):
    """Every field that the park has configured."""

    names: frozenset[str] = frozenset()


def _known(fields: Fields, event: Recorded[FieldConfigured]) -> Fields:
    return Fields(fields.names | {event.data.field})


FIELDS: Fold[Fields] = Fold("clearance.fields", "fields", lambda _: Fields(), {FieldConfigured: _known})
