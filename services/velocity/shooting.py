"""Shooting: the string that is open on a chronograph, and what each reading adds to it.

Every reading is recorded as it comes. Which string it is of follows from what was open when it was shot; the last one that the rule asks for
records the marker's test, so that nothing depends on a screen that watched. What is read beyond a full string, or before the next was opened, is of no
marker: it stays on the record, and is told to whoever stands there. So is the first one of a new operating day, where a string was left open overnight.
"""

from collections.abc import Iterable
from datetime import date

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
from services.velocity.judging import needed
from services.velocity.misreads import kind_of
from services.velocity.model import must_not_be_open
from services.velocity.states import BENCH, CHRONO, Place

MOST_MISREADS = 40
"""A string with this many ends by itself: something is wrong with the chronograph or the marker."""
STRAYS = 5
"""Readings of no marker that are remembered, so that they can be shown."""


class Shooting(Struct, frozen=True):
    """What is open on a chronograph: the string, what it read so far in ft/s, and since when; and what came before it."""

    chrono: str
    string: StringOpened | None = None
    since: Place | None = None
    day: date | None = None
    readings: tuple[float, ...] = ()
    misreads: tuple[Misread, ...] = ()
    strays: tuple[ReadingTaken, ...] = ()
    """Of no marker, the newest last: since the string was opened, or since the last one ended."""
    last: MarkerTested | None = None
    ended: Place | None = None
    """When `last`, the newest test on this chronograph, was recorded."""


def _opened(shooting: Shooting, event: Recorded[StringOpened]) -> Shooting:
    place = (event.occurred_at, event.position)
    return Shooting(shooting.chrono, event.data, place, event.day, last=shooting.last, ended=shooting.ended)


def _taken(shooting: Shooting, event: Recorded[ReadingTaken]) -> Shooting:
    data = event.data
    if shooting.string is None or data.test != shooting.string.test:
        return replace(shooting, strays=(*shooting.strays, data)[-STRAYS:])
    return _with(shooting, data)


def _with(shooting: Shooting, data: ReadingTaken) -> Shooting:
    if data.misread is None and data.speed_fps is not None:
        return replace(shooting, readings=(*shooting.readings, data.speed_fps))
    misread = Misread(kind=data.misread or "beam_lost", speed_fps=data.speed_fps, after=len(shooting.readings))
    return replace(shooting, misreads=(*shooting.misreads, misread))


def _abandoned(shooting: Shooting, event: Recorded[StringAbandoned]) -> Shooting:
    if shooting.string is None or event.data.test != shooting.string.test:
        return shooting
    return Shooting(shooting.chrono, last=shooting.last, ended=shooting.ended)


def _tested(shooting: Shooting, event: Recorded[MarkerTested]) -> Shooting:
    place = (event.occurred_at, event.position)
    if shooting.string is not None and event.data.test != shooting.string.test:
        return replace(shooting, last=event.data, ended=place)
    return Shooting(shooting.chrono, last=event.data, ended=place)


_SHOOTING: dict[type[Data], Evolve[Shooting]] = {
    StringOpened: _opened,
    ReadingTaken: _taken,
    MarkerTested: _tested,
    StringAbandoned: _abandoned,
}
SHOOTING: Fold[Shooting] = Fold("velocity.shooting", "chrono", Shooting, _SHOOTING)


def open_string(command: OpenString, given: Given, moment: Moment) -> Iterable[Data]:
    bench = given.of(BENCH, command.marker)
    must_know(bench.registered, f"marker:{command.marker}")
    must_know(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    shooting = given.of(SHOOTING, command.chrono)
    if shooting.string is not None:
        if shooting.string.test == command.test:
            raise AlreadyRecorded(f"String {command.test} is open already. Shoot.", where="$.test")
        _must_not_be_before(shooting, moment)
    must_not_be_open(bench, command.test)
    if any(one.test == command.test for one in bench.tests):
        raise AlreadyRecorded(
            f"Test {command.test} is recorded already. Give this string a name of its own.", where="$.test"
        )
    if shooting.string is not None:
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
    string = None if _before(shooting, moment) else shooting.string
    if string is not None and shooting.day is not None and shooting.day < moment.day:
        yield _ended(shooting, string)
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
        if len(so_far.readings) >= needed(rules) or len(so_far.misreads) >= MOST_MISREADS:
            yield _ended(so_far, string)


def end_string(command: EndString, given: Given, moment: Moment) -> Iterable[Data]:
    must_know(given.of(CHRONO, command.chrono).registered, f"chrono:{command.chrono}")
    shooting = given.of(SHOOTING, command.chrono)
    if shooting.string is None:
        raise NotInThatState(
            f"No string is open on chronograph {command.chrono}. Scan a marker first.", where=f"chrono:{command.chrono}"
        )
    _must_not_be_before(shooting, moment)
    yield _ended(shooting, shooting.string, low_pressure=command.low_pressure)


def _before(shooting: Shooting, moment: Moment) -> bool:
    """Whether a moment lies before the string that is open was opened."""
    return shooting.since is not None and moment.occurred_at < shooting.since[0]


def _must_not_be_before(shooting: Shooting, moment: Moment) -> None:
    """Raises NotInThatState where what comes late was meant for an earlier string."""
    if _before(shooting, moment) and shooting.string is not None:
        raise NotInThatState(
            f"This was meant for an earlier string: that of marker {shooting.string.marker} was opened on chronograph {shooting.chrono} since. "
            "Nothing was changed; scan the marker again if it is still to be shot.",
            where="$.occurred_at",
        )


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
