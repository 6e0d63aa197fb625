"""What the board remembers beside the clearance.

Who came today, who plays in which colour, spot checks, each station's last result and turns, and the cautions of which nobody has said yet
whom they are about.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from contracts.discipline import CautionRecorded, CautionResolved, CautionVoided
from contracts.envelope import Data, Recorded
from contracts.registration import PlayerRegistered, RotationAssigned
from contracts.velocity import MarkerSpotChecked
from services.board.results import station_of, words
from services.board.waits.turns import SERVES, TURNS
from services.core.fold import Fold
from services.core.folds import Folds
from services.games.first_aid import CALLS
from services.games.line_up import LINE_UP
from services.games.rotation.published import PUBLISHED, SESSIONS
from services.games.states import BESIDE, GAME
from services.incidents.telling import INCIDENT, OPEN
from services.park.states import HEAT, LIGHTNING
from services.velocity.measured import CHRONOS, RECENT

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class SpotCheck(Struct, frozen=True):
    """A marker's latest reading on a field."""

    marker: str
    place: Place | None = None
    field: str = ""
    speed_fps: float = 0.0
    stop_limit_fps: float = 0.0
    over_stop: bool = False


class Arrival(Struct, frozen=True):
    """Somebody who came on one day, and the field of the rotation he was last put into."""

    subject: str
    player: str = ""
    field: str | None = None
    assigned: Place | None = None
    steps: dict[str, datetime] = {}
    """When each station last served him; the chronograph serves markers."""


class Whom(Struct, frozen=True):
    """Whom a caution is about, as the referee saw him."""

    colour: str
    armband: int
    field: str
    happened: datetime


class Unresolved(Struct, frozen=True):
    """The cautions by colour and number that are neither resolved nor withdrawn."""

    cautions: dict[str, Whom] = {}


class LastResult(Struct, frozen=True):
    station: str
    what: str = ""
    place: Place | None = None


def _place(event: Recorded[Any]) -> Place:
    return event.occurred_at, event.position


def _spot_checked(check: SpotCheck, event: Recorded[MarkerSpotChecked]) -> SpotCheck:
    data = event.data
    if check.place is not None and _place(event) < check.place:
        return check
    over = data.finding == "over_stop"
    return SpotCheck(check.marker, _place(event), data.field, data.speed_fps, data.stop_limit_fps, over)


def _arrived(arrival: Arrival, event: Recorded[PlayerRegistered]) -> Arrival:
    return _stepped(replace(arrival, player=event.data.player), event)


def _stepped(arrival: Arrival, event: Recorded[Any]) -> Arrival:
    station = SERVES[type(event.data)]
    latest = max(event.occurred_at, arrival.steps.get(station, event.occurred_at))
    return replace(arrival, steps={**arrival.steps, station: latest})


def _assigned(arrival: Arrival, event: Recorded[RotationAssigned]) -> Arrival:
    if arrival.assigned is not None and _place(event) < arrival.assigned:
        return arrival
    return replace(arrival, field=event.data.field, assigned=_place(event))


def _cautioned(unresolved: Unresolved, event: Recorded[CautionRecorded]) -> Unresolved:
    data = event.data
    whom = Whom(data.colour or "", data.armband or 0, data.field or "", event.occurred_at)
    return Unresolved(unresolved.cautions | {data.caution: whom})


def _settled(unresolved: Unresolved, event: Recorded[CautionResolved] | Recorded[CautionVoided]) -> Unresolved:
    return Unresolved({name: whom for name, whom in unresolved.cautions.items() if name != event.data.caution})


def _noted(last: LastResult, event: Recorded[Any]) -> LastResult:
    if last.place is not None and _place(event) < last.place:
        return last
    return replace(last, what=words(event.data), place=_place(event))


SPOT_CHECK: Fold[SpotCheck] = Fold("board.spot_check", "marker", SpotCheck, {MarkerSpotChecked: _spot_checked})
ARRIVAL: Fold[Arrival] = Fold(
    "board.arrival",
    "day",
    Arrival,
    {**dict.fromkeys(SERVES, _stepped), PlayerRegistered: _arrived, RotationAssigned: _assigned},
)
UNRESOLVED: Fold[Unresolved] = Fold(
    "board.unresolved",
    "unresolved",
    lambda _: Unresolved(),
    {CautionRecorded: _cautioned, CautionResolved: _settled, CautionVoided: _settled},
)
LAST_RESULT: Fold[LastResult] = Fold("board.last_result", "station", LastResult, dict.fromkeys(station_of, _noted))


class Notes(Folds):
    """Folds by the tags of events, and by three that events do not name: a day's player, a station, cautions about nobody yet."""

    def tags(self, event: Recorded[Any]) -> list[str]:
        return [*super().tags(event), *_days(event), *_stations(event), *_unresolved(event)]


def _days(event: Recorded[Any]) -> Iterable[str]:
    if type(event.data) in SERVES or isinstance(event.data, RotationAssigned):
        yield from (f"day:{event.day}:{tag.partition(':')[2]}" for tag in event.tags if tag.startswith("player:"))


def _stations(event: Recorded[Any]) -> Iterable[str]:
    found = station_of.get(type(event.data)) or SERVES.get(type(event.data))
    if found is not None:
        yield f"station:{found}"


def _unresolved(event: Recorded[Any]) -> Iterable[str]:
    data: Data = event.data
    nameless = isinstance(data, CautionRecorded | CautionVoided) and data.player is None
    if nameless or isinstance(data, CautionResolved):
        yield "unresolved"


NOTES = Notes(
    "board",
    (
        GAME,
        BESIDE,
        LINE_UP,
        SPOT_CHECK,
        ARRIVAL,
        UNRESOLVED,
        LAST_RESULT,
        TURNS,
        CHRONOS,
        RECENT,
        PUBLISHED,
        SESSIONS,
        LIGHTNING,
        HEAT,
        INCIDENT,
        OPEN,
        CALLS,
    ),
)
