"""Figures: what was measured, against what, in the same run, and whether the goal holds."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from msgspec import Struct

FILE = Path(__file__).resolve().parents[2] / "build" / "bench.json"


class Figure(Struct, frozen=True, kw_only=True):
    """A value and its reference in one unit; the goal is for their ratio, a floor unless `at_most`."""

    name: str
    what: str
    against: str
    unit: str
    value: float
    reference: float
    goal: float
    at_most: bool = False

    @property
    def ratio(self) -> float:
        return self.value / self.reference

    @property
    def holds(self) -> bool:
        return self.ratio <= self.goal if self.at_most else self.ratio >= self.goal

    def entry(self) -> dict[str, Any]:
        return {
            "value": self.value,
            "reference": self.reference,
            "ratio": self.ratio,
            "goal": self.goal,
            "holds": self.holds,
        }

    def __str__(self) -> str:
        sign, verdict = ("≤" if self.at_most else "≥"), ("holds" if self.holds else "DOES NOT HOLD")
        numbers = f"{_plain(self.value)} : {_plain(self.reference)} {self.unit}"
        return f"{self.name}: {self.what}\n    against {self.against}\n    {numbers} = {self.ratio:.2f}, goal {sign} {self.goal:g}: {verdict}"


def _plain(number: float) -> str:
    return f"{number:,.0f}" if number >= 100 else f"{number:.3g}"


def write(figures: Sequence[Figure]) -> None:
    """Keep the figures in build/bench.json."""
    FILE.parent.mkdir(exist_ok=True)
    FILE.write_text(json.dumps({figure.name: figure.entry() for figure in figures}, indent=2) + "\n")
