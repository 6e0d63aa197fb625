"""Checks of chronographs against a reference, said shortly."""

from typing import Any

from contracts.velocity import CheckChrono, ChronoChecked
from tests.unit.scenario import Scenario

REFERENCE = 280.0


def checks(scenario: Scenario, *off: float, chrono: str = "c1", **more: Any) -> ChronoChecked:
    """One check: by how much each shot was read too high, in ft/s. The event that it came to."""
    readings = tuple(REFERENCE + one for one in off)
    (event,) = scenario.when(
        CheckChrono(chrono=chrono, readings_fps=readings, reference_fps=(REFERENCE,) * len(off), **more)
    )
    assert isinstance(event, ChronoChecked)
    return event


def agrees(scenario: Scenario, chrono: str = "c1") -> ChronoChecked:
    """A check that finds nothing amiss."""
    return checks(scenario, 0.25, -0.25, 0.0, chrono=chrono)
