"""Shooting: the string that is open on a chronograph, and what each reading adds to it.

Every reading is recorded as it comes. Which string it is of follows from what was open when it was shot; the last one that the rule asks for
records the marker's test, so that nothing depends on a screen that watched.
"""

from collections.abc import Iterable
from datetime import datetime

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.problems import AlreadyRecorded, NotInThatState
from contracts.velocity import (
    EndString,
    MarkerTested,
    Misread,
    OpenString,
    ReadingTaken,
    StringAbandoned,
    StringOpened,
    TakeReading,
)
from services.core.command import Moment, must_know
from services.core.fold import Evolve, Fold, Given
from services.velocity.misreads import kind_of
from services.velocity.states import BENCH, CHRONO

MOST_MISREADS = 40
"""A string with this many ends by itself: something is wrong with the chronograph or the marker."""


class Shooting(Struct, frozen=True):
    """What is open on a chronograph: the string, what it read so far in ft/s, and since when."""

    chrono: str
    string: StringOpened | None = None
    since: datetime | None = None
    readings: tuple[float, ...] = ()
    misreads: tuple[Misread, ...] = ()


def _opened(shooting: Shooting, event: Recorded[StringOpened]) -> Shooting:
    return Shooting(shooting.chrono, event.data, event.occurred_at)


def _taken(shooting: Shooting, event: Recorded[ReadingTaken]) -> Shooting:
    data = event.data
    if shooting.string is None or data.test != shooting.string.test:
        return shooting
    return _with(shooting, data)


def _with(shooting: Shooting, data: ReadingTaken) -> Shooting:
    if data.misread is None and data.speed_fps is not None:
        return replace(shooting, readings=(*shooting.readings, data.speed_fps))
    misread = Misread(kind=data.misread or "beam_lost", speed_fps=data.speed_fps, after=len(shooting.readings))
    return replace(shooting, misreads=(*shooting.misreads, misread))


def _closed(shooting: Shooting, event: Recorded[MarkerTested] | Recorded[StringAbandoned]) -> Shooting:
    if shooting.string is None or event.data.test != shooting.string.test:
        return shooting
    return Shooting(shooting.chrono)


_SHOOTING: dict[type[Data], Evolve[Shooting]] = {
    StringOpened: _opened,
    ReadingTaken: _taken,
    MarkerTested: _closed,
    StringAbandoned: _closed,
}
SHOOTING: Fold[Shooting] = Fold("velocity.shooting", "chrono", Shooting, _SHOOTING)


def open_string(command: OpenString, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(BENCH, command.marker).registered, f"marker:{command.marker}")
    must_know(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    shooting = given.of(SHOOTING, command.chrono)
    if shooting.string is not None:
        if shooting.string.test == command.test:
            raise AlreadyRecorded(f"String {command.test} is open already. Shoot.", where="$.test")
        yield _ended(shooting, shooting.string)
    yield StringOpened(
        test=command.test,
        marker=command.marker,
        chrono=command.chrono,
        sealed=command.sealed,
        temperature_c=command.temperature_c,
        ball_g=command.ball_g,
        rate_bps=command.rate_bps,
    )


def take_reading(command: TakeReading, given: Given, moment: Moment) -> Iterable[Data]:
    must_know(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    shooting, rules = given.of(SHOOTING, command.chrono), moment.rules.velocity
    string = shooting.string
    if string is None or shooting.since is None or moment.occurred_at < shooting.since:
        string = None
    taken = ReadingTaken(
        chrono=command.chrono,
        test=string.test if string else None,
        marker=string.marker if string else None,
        speed_fps=command.speed_fps,
        misread=command.misread or kind_of(command.speed_fps, rules),
        source=command.source,
    )
    yield taken
    if string is not None:
        so_far = _with(shooting, taken)
        if len(so_far.readings) >= rules.readings or len(so_far.misreads) >= MOST_MISREADS:
            yield _ended(so_far, string)


def end_string(command: EndString, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    shooting = given.of(SHOOTING, command.chrono)
    if shooting.string is None:
        raise NotInThatState(
            f"No string is open on chronograph {command.chrono}. Scan a marker first.", where=f"chrono:{command.chrono}"
        )
    yield _ended(shooting, shooting.string, low_pressure=command.low_pressure)


def _ended(shooting: Shooting, string: StringOpened, *, low_pressure: bool = False) -> Data:
    """The marker's test, of what was read; where nothing was, the string is given up."""
    if not shooting.readings and not shooting.misreads:
        return StringAbandoned(test=string.test, marker=string.marker, chrono=string.chrono)
    return MarkerTested(
        test=string.test,
        marker=string.marker,
        chrono=string.chrono,
        readings_fps=shooting.readings,
        misreads=shooting.misreads,
        low_pressure=low_pressure,
        sealed=string.sealed,
        temperature_c=string.temperature_c,
        ball_g=string.ball_g,
        rate_bps=string.rate_bps,
    )
