"""What each chronograph has measured, and which chronographs a park has."""

from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.velocity import ChronoChecked, ChronoRegistered, MarkerTested
from services.core.fold import Evolve, Fold
from services.velocity.states import Place


class Measured(Struct, frozen=True):
    """One string of one marker on a chronograph."""

    marker: str
    test: str
    place: Place
    day: date
    sealed: bool


class Output(Struct, frozen=True):
    """A chronograph's latest string of each marker, in order. Unsealed markers are tested for a day, so only a fleet and a day's guests are kept."""

    chrono: str
    latest: tuple[Measured, ...] = ()


def _tested(output: Output, event: Recorded[MarkerTested]) -> Output:
    data = event.data
    string = Measured(data.marker, data.test, (event.occurred_at, event.position), event.day, data.sealed)
    strings = {one.marker: one for one in sorted((*output.latest, string), key=lambda one: one.place)}
    newest = max(one.day for one in strings.values())
    kept = (one for one in strings.values() if one.sealed or one.day == newest)
    return replace(output, latest=tuple(sorted(kept, key=lambda one: one.place)))


class Recent(Struct, frozen=True):
    """The markers of a chronograph's newest day that it measured since its last good check, for a wall: short where it is checked as it should be."""

    chrono: str
    good: Place | None = None
    day: date | None = None
    markers: dict[str, Place] = {}


def _measured(recent: Recent, event: Recorded[MarkerTested]) -> Recent:
    place = (event.occurred_at, event.position)
    if (recent.day is not None and event.day < recent.day) or (recent.good is not None and place < recent.good):
        return recent
    before = recent.markers if event.day == recent.day else {}
    latest = max(place, before.get(event.data.marker, place))
    return replace(recent, day=event.day, markers=before | {event.data.marker: latest})


def _checked(recent: Recent, event: Recorded[ChronoChecked]) -> Recent:
    place = (event.occurred_at, event.position)
    if not event.data.good or (recent.good is not None and place < recent.good):
        return recent
    return replace(recent, good=place, markers={name: at for name, at in recent.markers.items() if at > place})


class Chronos(Struct, frozen=True):
    """Every chronograph that the park has entered or checked."""

    names: frozenset[str] = frozenset()


def _known(chronos: Chronos, event: Recorded[ChronoRegistered] | Recorded[ChronoChecked]) -> Chronos:
    return Chronos(chronos.names | {event.data.chrono})


_CHRONOS: dict[type[Data], Evolve[Chronos]] = {ChronoRegistered: _known, ChronoChecked: _known}
OUTPUT: Fold[Output] = Fold("velocity.output", "chrono", Output, {MarkerTested: _tested})
RECENT: Fold[Recent] = Fold("velocity.recent", "chrono", Recent, {MarkerTested: _measured, ChronoChecked: _checked})
CHRONOS: Fold[Chronos] = Fold("velocity.chronos", "chronos", lambda _: Chronos(), _CHRONOS)
"""One that was entered before its events bore this tag is found from its next check on: without that it measures nothing that counts."""
