"""What was measured well: histories without the strings of a chronograph that was out of control, or worked on since its last check.

A string stays where nothing was found wrong with its chronograph, though its check was overdue or there was none. Work on a chronograph may move
what it reads, so from then on it counts as another one.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping

from msgspec.structs import replace

from contracts.rules import ChronoRules
from services.velocity.chronos import trust
from services.velocity.history import Change, History, Read, Spot
from services.velocity.states import Chrono, Place


def measured_well(histories: Iterable[History], chronos: Mapping[str, Chrono], rules: ChronoRules) -> list[History]:
    """These histories with what their chronographs' checks leave of them."""
    instruments = {name: _Instrument(chrono, rules) for name, chrono in chronos.items()}
    return [
        replace(one, entries=tuple(left for entry in one.entries for left in _left(entry, instruments)))
        for one in histories
    ]


def _left(entry: Read | Spot | Change, instruments: Mapping[str, "_Instrument"]) -> Iterable[Read | Spot | Change]:
    instrument = instruments.get(entry.chrono) if isinstance(entry, Read) else None
    if instrument is None or not isinstance(entry, Read):
        yield entry
    elif instrument.sound(entry.place):
        works = instrument.works(entry.place)
        yield replace(entry, chrono=f"{entry.chrono}, worked on {works} times") if works else entry


class _Instrument:
    """One chronograph; between two of its checks and works what is said of it stays the same, and is found once."""

    def __init__(self, chrono: Chrono, rules: ChronoRules) -> None:
        self._chrono, self._rules = chrono, rules
        self._steps = sorted([*(check.place for check in chrono.checks), *chrono.works])
        self._found: dict[int, bool] = {}

    def sound(self, place: Place) -> bool:
        step = bisect_right(self._steps, place)
        if step not in self._found:
            doubt = trust(self._chrono, place, self._rules).doubt
            self._found[step] = doubt not in {"closed", "worked_on"}
        return self._found[step]

    def works(self, place: Place) -> int:
        """How often it had been worked on by then."""
        return bisect_right(self._chrono.works, place)
