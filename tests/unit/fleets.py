"""Invented fleets whose truth is known: what each marker gains, how its shots scatter, how often it stops."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np

from services.velocity.history import Change, History, Read, Spot, Used
from services.velocity.metrology.strings import summarize

OPENED = datetime(2026, 5, 2, 9, tzinfo=UTC)
HOURS = 7.5
Shots = Literal["normal", "student"]


class Marker:
    """One marker's truth, in ft/s and hours; `stops`: of how many uses one."""

    def __init__(self, rng: np.random.Generator, *, gains: float, sd: float, stops: float, shots: Shots) -> None:
        self.rng, self.gains, self.sd, self.stops, self.shots = rng, gains, sd, stops, shots
        self.level = 0.0
        self.adjust()

    def adjust(self) -> None:
        self.level = self.rng.normal(272, 4)

    def shoot(self, shots: int, hours: float) -> list[float]:
        """Speeds as a chronograph shows them, to a tenth; `student`: with five degrees of freedom, of the same standard deviation."""
        scatter = self.rng.standard_normal(shots)
        if self.shots == "student":
            scatter = self.rng.standard_t(5, shots) / np.sqrt(5 / 3)
        return [float(speed) for speed in np.round(self.level + self.gains * hours + self.sd * scatter, 1)]


def fleet(
    rng: np.random.Generator,
    *,
    markers: int = 25,
    days: int = 6,
    gains: Mapping[int, float] = {},
    spreads: Mapping[int, float] = {},
    stops: Mapping[int, float] = {},
    shots: Shots = "normal",
    models: tuple[str, ...] = ("Heron",),
) -> list[History]:
    """Some Saturdays of a fleet in which every marker is alike but for those named by number: what it gains an hour, its sd, its stoppages a use."""
    return [
        history(
            f"H{number:03}",
            models[number % len(models)],
            Marker(
                rng,
                gains=gains.get(number, 0.0),
                sd=spreads.get(number, 3.0),
                stops=stops.get(number, 0.05),
                shots=shots,
            ),
            days,
        )
        for number in range(markers)
    ]


def history(name: str, model: str, marker: Marker, days: int) -> History:
    """A string each morning, some through the day, and some spot checks; it is turned over now and then, and whenever one is too fast."""
    entries: list[Read | Spot | Change] = []
    used: list[Used] = []
    for number in range(days):
        opened = OPENED + timedelta(days=7 * number)
        day, hours = opened.date(), number * HOURS
        if marker.rng.random() < 0.15:
            marker.adjust()
            entries.append(Change(opened, len(entries), day, "adjuster"))
        tests = [0.0, *marker.rng.uniform(0.5, HOURS, marker.rng.integers(0, 3))]
        checks = list(marker.rng.uniform(0.5, HOURS, marker.rng.poisson(1)))
        for at, on_field in sorted([(one, False) for one in tests] + [(one, True) for one in checks]):
            when, position = opened + timedelta(hours=float(at)), len(entries)
            if on_field:
                (speed,) = marker.shoot(1, hours + at)
                entries.append(Spot(when, position, day, "birch", speed, speed >= 285))
                if speed >= 285:
                    marker.adjust()
            else:
                string = summarize(marker.shoot(3, hours + at))
                entries.append(
                    Read(when, position, day, "bench-1", 3, string.mean_fps, string.sd_fps, string.highest_fps)
                )
        uses = int(marker.rng.integers(2, 5))
        jams = ("jam",) * int(marker.rng.binomial(uses, marker.stops))
        used.append(Used(day, opened, opened + timedelta(hours=HOURS), uses, jams))
    return History(name, model, ".68", hired=True, entries=tuple(entries), days=tuple(used))
