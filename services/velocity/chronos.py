"""Chronographs: whether a check against a reference is good, and whether what was measured at a moment can be trusted.

A check is a chart's next value, the mean of its readings less the reference's of the same shots. It closes the chronograph where the charts or the
rule's bias say so; only a good check opens it again. Work on it begins its charts anew, and hides what it read between its last check and the work.
"""

from collections.abc import Sequence
from datetime import timedelta
from math import fsum
from typing import Literal, NamedTuple

from contracts.problems import RuleForbids
from contracts.rules import ChronoRules
from contracts.velocity import CheckChrono, ChronoChecked, Signal
from services.velocity.metrology.charts import ewma, shewhart
from services.velocity.states import Chrono, Place

Doubt = Literal["never_checked", "worked_on", "closed", "check_overdue"]


class Trust(NamedTuple):
    """Why a chronograph could not be trusted at a moment, nothing where it could; `bias_fps` is how far off it was found, where that is known."""

    doubt: Doubt | None
    bias_fps: float | None = None

    @property
    def trusted(self) -> bool:
        return self.doubt is None


def trust(chrono: Chrono, place: Place, rules: ChronoRules) -> Trust:
    """Whether what a chronograph measured at a moment counts: its check before was good, and so is the next one, once there is one.

    Where the check before is longer ago than the rules allow, the next one must be there, and good.
    """
    before = next((one for one in reversed(chrono.checks) if one.place < place), None)
    after = next((one for one in chrono.checks if one.place > place), None)
    if before is None:
        return Trust("never_checked")
    if any(work > before.place and (after is None or work < after.place) for work in chrono.works):
        return Trust("worked_on")
    if not before.good:
        return Trust("closed")
    if after is not None:
        return Trust(None) if after.good else Trust("closed", after.bias_fps)
    overdue = place[0] - before.place[0] > timedelta(hours=rules.hours)
    return Trust("check_overdue" if overdue else None)


def values(chrono: Chrono, place: Place) -> list[float]:
    """The values of the charts up to a moment, in ft/s: of every check since the last work whose bias is known."""
    begun = max((work for work in chrono.works if work < place), default=None)
    return [
        one.bias_fps
        for one in chrono.checks
        if one.bias_fps is not None and one.place < place and (begun is None or one.place > begun)
    ]


def checked(command: CheckChrono, chrono: Chrono, place: Place, rules: ChronoRules) -> ChronoChecked:
    """What a check comes to at the moment at which it was made; raises RuleForbids where readings and references are not of the same shots."""
    readings, references = command.readings_fps, command.reference_fps
    if len(readings) != len(references):
        raise RuleForbids(
            f"The chronograph read {len(readings)} shots, the reference {len(references)}. Send what both read of the same shots, in their order.",
            where="$.reference_fps",
        )
    bias = (fsum(readings) - fsum(references)) / len(readings) if readings else command.bias_fps
    signals: list[Signal] = [] if command.good else ["person"]
    if readings and len(readings) < rules.check_readings:
        signals.append("too_few")
    if bias is not None:
        signals += charted([*values(chrono, place), bias], rules)
    return ChronoChecked(
        chrono=command.chrono,
        good=not signals,
        bias_fps=bias,
        readings_fps=readings,
        reference_fps=references,
        signals=tuple(signals),
    )


def charted(biases: Sequence[float], rules: ChronoRules) -> list[Signal]:
    """What the charts say of the last of these values."""
    found: list[Signal] = []
    if abs(biases[-1]) > rules.bias_fps:
        found.append("bias")
    if shewhart(biases[-1:], target=0, sigma=rules.check_sd_fps, width=rules.shewhart_width)[-1].signal:
        found.append("shewhart")
    if ewma(biases, target=0, sigma=rules.check_sd_fps, weight=rules.ewma_weight, width=rules.ewma_width)[-1].signal:
        found.append("ewma")
    return found
