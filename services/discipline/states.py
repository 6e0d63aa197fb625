"""What discipline remembers of each player's day, as far as cautions and sit-outs need it, and of each rotation's games."""

from datetime import datetime
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from contracts.discipline import (
    AppealDecided,
    AppealRaised,
    CautionRecorded,
    CautionResolved,
    CautionVoided,
    EjectionConfirmed,
    PlayerReinstated,
    SeparateActRuled,
)
from contracts.envelope import Data, Recorded
from contracts.games import EntryRecorded, GameAbandoned, GameEnded, GameStarted, OutVoided, PlayerAdmitted, PlayerOut
from contracts.registration import MinorHandedOver, PlayerLeft, PlayerRegistered, PlayerReturned, RotationAssigned
from contracts.rules import Weight
from services.core.fold import Evolve, Fold

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Entry(Struct, frozen=True):
    """One caution about a player: when the act happened, with the position from which on the record holds it against him."""

    caution: str
    violation: str
    weight: Weight
    place: Place
    voided: Place | None = None
    separate: bool = False
    confirmed: bool = False


class Appeal(Struct, frozen=True):
    appeal: str
    caution: str
    decided: bool = False


class Way(Struct, frozen=True):
    """A way onto a field or off it; the game is None where whoever recorded it named none."""

    place: Place
    field: str
    game: str | None
    out: str = ""
    """Of a way off, the id of the event that said so, by which it can be withdrawn."""


class Record(Struct, frozen=True):
    """One player's day: cautions in the order of their recording, rotations in the order in which he played in them."""

    player: str
    registered: Place | None = None
    armband: int | None = None
    departures: tuple[Place, ...] = ()
    returns: tuple[Place, ...] = ()
    reinstated: Place | None = None
    entries: tuple[Entry, ...] = ()
    appeals: tuple[Appeal, ...] = ()
    rotations: tuple[tuple[Place, str], ...] = ()
    lists: frozenset[str] = frozenset()
    """The games that he was on the list of."""
    ways_in: tuple[Way, ...] = ()
    ways_out: tuple[Way, ...] = ()

    @property
    def rotation_ids(self) -> frozenset[str]:
        return frozenset(rotation for _, rotation in self.rotations)

    @property
    def absences(self) -> list[tuple[Place, Place | None]]:
        """When he was off the park; None while he still is."""
        return [(gone, min((back for back in self.returns if back > gone), default=None)) for gone in self.departures]

    def entry(self, caution: str) -> Entry | None:
        return next((one for one in self.entries if one.caution == caution), None)


class Run(Struct, frozen=True):
    """A game that was started: `full` once it has ended and been played for as long as the rules ask."""

    game: str
    field: str
    continuous: bool
    started: Place
    ended: Place | None = None
    full: bool = False


class Rotation(Struct, frozen=True):
    """The games of a rotation that have been started."""

    rotation: str
    runs: tuple[Run, ...] = ()

    @property
    def continuous_fields(self) -> frozenset[str]:
        """The fields whose stops must be known, for minutes of play are counted there."""
        return frozenset(run.field for run in self.runs if run.continuous)


def _place(event: Recorded[Any]) -> Place:
    return (event.occurred_at, event.position)


def _registered(record: Record, event: Recorded[PlayerRegistered]) -> Record:
    return record if record.registered else replace(record, registered=_place(event), armband=event.data.armband)


def _left(record: Record, event: Recorded[PlayerLeft] | Recorded[MinorHandedOver]) -> Record:
    return replace(record, departures=(*record.departures, _place(event)))


def _returned(record: Record, event: Recorded[PlayerReturned]) -> Record:
    return replace(record, returns=(*record.returns, _place(event)))


def _entered(record: Record, entry: Entry) -> Record:
    if record.entry(entry.caution) is not None:
        return record
    return replace(record, entries=(*record.entries, entry))


def _cautioned(record: Record, event: Recorded[CautionRecorded]) -> Record:
    data = event.data
    return _entered(record, Entry(data.caution, data.violation, data.weight, _place(event)))


def _resolved(record: Record, event: Recorded[CautionResolved]) -> Record:
    data = event.data
    return _entered(record, Entry(data.caution, data.violation, data.weight, (data.happened_at, event.position)))


def _marked(record: Record, caution: str, **marks: object) -> Record:
    return replace(
        record, entries=tuple(replace(one, **marks) if one.caution == caution else one for one in record.entries)
    )


def _withdrawn(record: Record, caution: str, place: Place) -> Record:
    entry = record.entry(caution)
    return record if entry is None or entry.voided else _marked(record, caution, voided=place)


def _voided(record: Record, event: Recorded[CautionVoided]) -> Record:
    return _withdrawn(record, event.data.caution, _place(event))


def _ruled_separate(record: Record, event: Recorded[SeparateActRuled]) -> Record:
    return _marked(record, event.data.caution, separate=True)


def _ejected(record: Record, event: Recorded[EjectionConfirmed]) -> Record:
    return _marked(record, event.data.caution, confirmed=True)


def _reinstated(record: Record, event: Recorded[PlayerReinstated]) -> Record:
    return replace(record, reinstated=_place(event))


def _appealed(record: Record, event: Recorded[AppealRaised]) -> Record:
    if any(one.appeal == event.data.appeal for one in record.appeals):
        return record
    return replace(record, appeals=(*record.appeals, Appeal(event.data.appeal, event.data.caution)))


def _decided(record: Record, event: Recorded[AppealDecided]) -> Record:
    """Upheld, it withdraws the caution."""
    data = event.data
    appeals = (replace(one, decided=True) if one.appeal == data.appeal else one for one in record.appeals)
    record = replace(record, appeals=tuple(appeals))
    return _withdrawn(record, data.caution, _place(event)) if data.upheld else record


def _assigned(record: Record, event: Recorded[RotationAssigned]) -> Record:
    return replace(record, rotations=tuple(sorted((*record.rotations, (_place(event), event.data.rotation)))))


def _on_list(record: Record, game: str, way: Way | None = None) -> Record:
    ways_in = record.ways_in if way is None else (*record.ways_in, way)
    return replace(record, lists=record.lists | {game}, ways_in=ways_in)


def _started(record: Record, event: Recorded[GameStarted]) -> Record:
    """Whoever was left out of the game is named in it as well, but is not on its list."""
    data = event.data
    if all(entrant.player != record.player for entrant in data.entrants):
        return record
    return _on_list(record, data.game, Way(_place(event), data.field, data.game))


def _admitted(record: Record, event: Recorded[PlayerAdmitted] | Recorded[EntryRecorded]) -> Record:
    data = event.data
    return record if data.game is None else _on_list(record, data.game, Way(_place(event), data.field, data.game))


def _game_over(record: Record, event: Recorded[GameEnded] | Recorded[GameAbandoned]) -> Record:
    return _on_list(record, event.data.game) if record.player in event.data.players else record


def _out(record: Record, event: Recorded[PlayerOut]) -> Record:
    way = Way(_place(event), event.data.field, event.data.game, str(event.id))
    return replace(record, ways_out=(*record.ways_out, way))


def _out_voided(record: Record, event: Recorded[OutVoided]) -> Record:
    return replace(record, ways_out=tuple(one for one in record.ways_out if one.out != str(event.data.out)))


def _run(rotation: Rotation, game: str) -> Run | None:
    return next((one for one in rotation.runs if one.game == game), None)


def _with_run(rotation: Rotation, run: Run) -> Rotation:
    others = (one for one in rotation.runs if one.game != run.game)
    return replace(rotation, runs=tuple(sorted((*others, run), key=lambda one: one.started)))


def _run_started(rotation: Rotation, event: Recorded[GameStarted]) -> Rotation:
    data = event.data
    if _run(rotation, data.game) is not None:
        return rotation
    return _with_run(rotation, Run(data.game, data.field, data.format == "continuous", _place(event)))


def _run_ended(rotation: Rotation, event: Recorded[GameEnded]) -> Rotation:
    """The first end counts, and none that comes after the game was abandoned."""
    data = event.data
    run = _run(rotation, data.game)
    if run is None:
        run = Run(data.game, data.field, data.format == "continuous", (data.started_at, 0))
    return rotation if run.ended else _with_run(rotation, replace(run, ended=_place(event), full=data.full))


def _run_abandoned(rotation: Rotation, event: Recorded[GameAbandoned]) -> Rotation:
    run = _run(rotation, event.data.game)
    return rotation if run is None or run.ended else _with_run(rotation, replace(run, ended=_place(event)))


_RECORD: dict[type[Data], Evolve[Record]] = {
    PlayerRegistered: _registered,
    PlayerLeft: _left,
    MinorHandedOver: _left,
    PlayerReturned: _returned,
    CautionRecorded: _cautioned,
    CautionResolved: _resolved,
    CautionVoided: _voided,
    SeparateActRuled: _ruled_separate,
    EjectionConfirmed: _ejected,
    PlayerReinstated: _reinstated,
    AppealRaised: _appealed,
    AppealDecided: _decided,
    RotationAssigned: _assigned,
    GameStarted: _started,
    PlayerAdmitted: _admitted,
    EntryRecorded: _admitted,
    GameEnded: _game_over,
    GameAbandoned: _game_over,
    PlayerOut: _out,
    OutVoided: _out_voided,
}
_ROTATION: dict[type[Data], Evolve[Rotation]] = {
    GameStarted: _run_started,
    GameEnded: _run_ended,
    GameAbandoned: _run_abandoned,
}
RECORD: Fold[Record] = Fold("discipline.record", "player", Record, _RECORD)
ROTATION: Fold[Rotation] = Fold("discipline.rotation", "rotation", Rotation, _ROTATION)
