"""The chronograph bench of the invented day: its clerks, its two chronographs, their checks, and every string that is shot there."""

from collections.abc import Callable
from random import Random
from typing import Any, Final

from contracts.velocity import AdjustChrono, ChangeSetUp, CheckChrono, MisreadKind, OpenString, TakeReading, TestMarker
from deploy.demo.agenda import Agenda
from deploy.demo.markers import Markers, hired, limit_fps
from deploy.demo.station import Station

BENCHES: Final = ("bench-1", "bench-2")
CHRONOS: Final = (*BENCHES, "field-1")
CONNECTED: Final = "bench-2"
"""This one sends its readings itself, as they are shot; what the others show is typed, a string at a time."""
SHOTS: Final = 3
REFERENCE: Final = (280.0, 2.0)
"""Mean and standard deviation, in ft/s, of the shots of a check."""
CHECK_NOISE: Final = 1.2
"""Standard deviation of one reading less its reference, in ft/s: 0.7 for the mean of three, where the rules take 0.8."""
MISREAD: Final = 0.04
"""How often a chronograph shows what no reading is."""
_Shown = tuple[float | None, MisreadKind | None]


class Bench:
    """`stations`: the key with which each chronograph's clerk, or it itself, records. `told`: a line for the terminal."""

    def __init__(
        self,
        stations: dict[str, Station],
        markers: Markers,
        agenda: Agenda,
        random: Random,
        told: Callable[[str], None],
    ) -> None:
        self.markers = markers
        self.off_fps = dict.fromkeys(CHRONOS, 0.0)
        """What each chronograph reads too high."""
        self.fastest: dict[str, float] = {}
        """The fastest reading of each marker's latest string, in ft/s; none while a spot check has voided it."""
        self.doubted: dict[str, float] = {}
        """Markers whose latest string is of a chronograph that was then found out of control, in the order in which they were shot; how far off, in ft/s."""
        self._since_check: dict[str, dict[str, None]] = {chrono: {} for chrono in CHRONOS}
        self._closed: set[str] = set()
        self._stations, self._agenda, self._random, self._tell = stations, agenda, random, told
        self._strings = 0

    @property
    def open(self) -> str:
        """The chronograph of the bench to go to."""
        return next((one for one in reversed(BENCHES) if one not in self._closed), CONNECTED)

    async def measure(self, marker: str, chrono: str, *, typed: bool | None = None) -> None:
        """String after string until one is not too fast; each that is has the adjuster turned first."""
        if typed is None:
            typed = chrono != CONNECTED
        while await self._string(marker, chrono, typed=typed) >= limit_fps(marker):
            await self.turn_down(marker)

    async def turn_down(self, marker: str) -> None:
        self.markers.turn_down(marker)
        await self._stations[BENCHES[0]].do(ChangeSetUp(marker=marker, change="adjuster"))

    async def _string(self, marker: str, chrono: str, *, typed: bool) -> float:
        """The fastest of three readings, in ft/s."""
        self._strings += 1
        name = f"s{self._strings:03}-{marker}"
        shoot = self._typed if typed else self._sent
        tested = await shoot(name, marker, chrono)
        for measured in self._since_check.values():
            measured.pop(marker, None)
        self._since_check[chrono][marker] = None
        self.doubted.pop(marker, None)
        self.fastest[marker] = fastest = max(tested["readings_fps"])
        return float(fastest)

    async def _typed(self, name: str, marker: str, chrono: str) -> dict[str, Any]:
        """All that was shown, at once; a zero is typed like any other."""
        shown = [self._reading(marker, chrono) for _ in range(SHOTS)]
        if self._random.random() < MISREAD:
            shown.insert(self._random.randrange(SHOTS), 0.0)
        string = TestMarker(
            test=name,
            marker=marker,
            chrono=chrono,
            readings_fps=tuple(shown),
            sealed=hired(marker),
            temperature_c=self.markers.air_c,
        )
        return _recorded(await self._stations[chrono].do(string))

    async def _sent(self, name: str, marker: str, chrono: str) -> dict[str, Any]:
        """Reading by reading, as the chronograph sends them: the record says when the string is full."""
        station = self._stations[chrono]
        await station.do(
            OpenString(test=name, marker=marker, chrono=chrono, sealed=hired(marker), temperature_c=self.markers.air_c)
        )
        while True:
            speed, misread = self._shown(marker, chrono)
            data = _recorded(await station.do(TakeReading(chrono=chrono, speed_fps=speed, misread=misread)))
            if "readings_fps" in data:
                return data

    def _reading(self, marker: str, chrono: str) -> float:
        return round(self.markers.shot(marker) + self.off_fps[chrono], 1)

    def _shown(self, marker: str, chrono: str) -> _Shown:
        speed = self._reading(marker, chrono)
        if self._random.random() >= MISREAD:
            return speed, None
        return self._random.choice(((0.0, None), (None, None), (round(speed / 2, 1), "double_trigger")))

    async def check_all(self) -> None:
        for chrono in CHRONOS:
            await self.check(chrono)

    async def check(self, chrono: str) -> None:
        """Three shots that a reference reads too. What is found out of control is worked on, and checked again before it counts."""
        reference = [round(self._random.gauss(*REFERENCE), 1) for _ in range(SHOTS)]
        readings = [round(one + self.off_fps[chrono] + self._random.gauss(0, CHECK_NOISE), 1) for one in reference]
        check = CheckChrono(chrono=chrono, readings_fps=tuple(readings), reference_fps=tuple(reference))
        answer = await self._stations[chrono].do(check)
        measured, self._since_check[chrono] = self._since_check[chrono], {}
        found = _recorded(answer)
        if found["good"]:
            self._closed.discard(chrono)
            return
        self._tell(
            f"Chronograph {chrono} is out of control: {len(measured)} markers were measured on it since its last good check."
        )
        self._closed.add(chrono)
        self.doubted |= dict.fromkeys(measured, found["bias_fps"])
        self._agenda.at(self._agenda.minute + 3, lambda: self._work_on(chrono))

    async def _work_on(self, chrono: str) -> None:
        await self._stations[chrono].do(AdjustChrono(chrono=chrono, work="sensor"))
        self.off_fps[chrono] = 0.0
        self._agenda.at(self._agenda.minute + 4, lambda: self.check(chrono))


def _recorded(answer: dict[str, Any]) -> dict[str, Any]:
    """The data of the last event that a command recorded."""
    data: dict[str, Any] = answer["events"][-1]["data"]
    return data
