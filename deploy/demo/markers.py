"""How fast each marker truly shoots on the invented day, which no chronograph knows: all speeds in ft/s, temperatures in degrees Celsius."""

from random import Random
from typing import Final

from deploy.demo.agenda import Agenda

HIRED: Final = 190
LOW_IMPACT: Final = 100
SHOT_TO_SHOT: Final = 2.2
"""Standard deviation between a marker's shots."""
SET_TO: Final = {".68": (273.0, 4.0, 279.0), ".50": (214.0, 4.0, 220.0), "own": (278.5, 1.5, 281.0)}
"""To what markers are set at eight: mean, standard deviation, and the most."""
MORNING_C: Final = 14.0
NOON_C: Final = 21.0
NOON: Final = 240.0
"""In minutes after eight; it is no warmer later."""
PER_KELVIN: Final = 0.5
"""What every marker gains with the temperature."""
CREEPS: Final = "H027"
"""Its regulator creeps: a little faster every hour, and never too fast."""
CREEPS_FROM: Final = 258.0
CREEPS_BY: Final = 2.4 / 60
"""Each minute."""


def hired_markers(calibre: str) -> list[str]:
    """The fleet's numbers: H for .68, L for low impact."""
    letter, number = ("L", LOW_IMPACT) if calibre == ".50" else ("H", HIRED)
    return [f"{letter}{index:03}" for index in range(1, number + 1)]


def hired(marker: str) -> bool:
    return not marker.startswith("own")


def limit_fps(marker: str) -> float:
    """The bench limit of the fields on which it plays."""
    return 230.0 if marker.startswith("L") else 285.0


class Markers:
    """Every marker's setting, and what a shot of it comes to at the moment."""

    def __init__(self, agenda: Agenda, random: Random) -> None:
        self._agenda, self._random = agenda, random
        self._set: dict[str, float] = {}

    @property
    def air_c(self) -> float:
        return round(MORNING_C + (NOON_C - MORNING_C) * min(1.0, self._agenda.minute / NOON), 1)

    def set_up(self, marker: str) -> None:
        """As the crew, or its owner, set it."""
        mean, spread, most = SET_TO["own" if not hired(marker) else ".50" if marker.startswith("L") else ".68"]
        self._set[marker] = CREEPS_FROM if marker == CREEPS else min(self._random.gauss(mean, spread), most)

    def turn_up(self, marker: str, by: float) -> None:
        self._set[marker] += by

    def turn_down(self, marker: str) -> None:
        """To ten under the limit, as warm as it is."""
        self._set[marker] = limit_fps(marker) - 10 - self._gained(marker)

    def shot(self, marker: str) -> float:
        return self._random.gauss(self._set[marker] + self._gained(marker), SHOT_TO_SHOT)

    def _gained(self, marker: str) -> float:
        """Since eight."""
        crept = CREEPS_BY * self._agenda.minute if marker == CREEPS else 0.0
        return crept + PER_KELVIN * (self.air_c - MORNING_C)
