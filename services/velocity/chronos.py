"""Chronographs: whether a check against a reference is good, and whether what was measured at a moment can be trusted.

A check is a chart's next value, the mean of its readings less the reference's of the same shots. It closes the chronograph where the charts or the
rule's bias say so; only a good check opens it again, and what figures closed a word alone does not. One of too few shots that shows nothing amiss
decides nothing. Work on it begins its charts anew, and hides what it read between its last check and the work.
"""

from collections.abc import Sequence
from datetime import timedelta
from itertools import takewhile
from math import fsum, inf
from typing import Final, Literal, NamedTuple

from contracts.problems import RuleForbids
from contracts.rules import ChronoRules
from contracts.velocity import CheckChrono, ChronoChecked, Signal
from services.velocity.metrology.charts import Point, ewma, shewhart
from services.velocity.states import Check, Chrono, Place, Tested

FIGURES: Final = frozenset({"bias", "shewhart", "ewma"})
"""Signals that come from what was read, not from a person's word."""
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
    before = last(chrono, place)
    after = _next(chrono, place)
    if before is None:
        return Trust("never_checked")
    if any(work > before.place and (after is None or work < after.place) for work in chrono.works):
        return Trust("worked_on")
    if not before.good:
        return Trust("closed")
    if after is not None:
        return Trust(None) if after.good else Trust("closed", _off_by(chrono, after, rules))
    overdue = place[0] - before.place[0] > timedelta(hours=rules.hours)
    return Trust("check_overdue" if overdue else None)


def trust_throughout(chrono: Chrono, tested: Tested, rules: ChronoRules) -> Trust:
    """Whether a string counts: its chronograph must have been trusted when it was opened and when it ended, else the worse of the two is said."""
    found = [trust(chrono, place, rules) for place in (tested.begun, tested.place)]
    doubted = [one for one in found if not one.trusted]
    return min(doubted, key=lambda one: -inf if one.bias_fps is None else one.bias_fps, default=Trust(None))


def last(chrono: Chrono, place: Place) -> Check | None:
    """The last check before a moment that decides anything."""
    return next((one for one in reversed(chrono.checks) if one.place < place and one.decides), None)


def _next(chrono: Chrono, place: Place) -> Check | None:
    """The next check after a moment that decides anything; good words are passed over where the figures behind them, before any work, speak against them."""
    later = [one for one in chrono.checks if one.place > place and one.decides]
    words = list(takewhile(lambda one: one.good and not one.shots, later))
    behind = later[len(words)] if len(words) < len(later) else None
    if words and behind is not None and not FIGURES.isdisjoint(behind.signals):
        worked = any(words[0].place < work < behind.place for work in chrono.works)
        return words[0] if worked else behind
    return later[0] if later else None


def _off_by(chrono: Chrono, check: Check, rules: ChronoRules) -> float | None:
    """How far off a check found it, in ft/s: its own value or the moving mean, whichever reads lower, since markers pass on what reads low."""
    if check.bias_fps is None:
        return None
    mean = averages([*values(chrono, check.place), check.bias_fps], rules)[-1].value
    return min(check.bias_fps, mean)


def values(chrono: Chrono, place: Place) -> list[float]:
    """The values of the charts up to a moment, in ft/s: of every check since the last work whose bias is known."""
    return [one.bias_fps for one in since_work(chrono, place) if one.bias_fps is not None and one.decides]


def since_work(chrono: Chrono, place: Place) -> list[Check]:
    """The checks before a moment, from the last work before it on."""
    begun = max((work for work in chrono.works if work < place), default=None)
    return [one for one in chrono.checks if one.place < place and (begun is None or one.place > begun)]


def checked(command: CheckChrono, chrono: Chrono, place: Place, rules: ChronoRules) -> ChronoChecked:
    """What a check comes to at the moment at which it was made; raises RuleForbids where readings and references are not of the same shots."""
    readings, references = command.readings_fps, command.reference_fps
    if len(readings) != len(references):
        raise RuleForbids(
            f"The chronograph read {len(readings)} shots, the reference {len(references)}. Send what both read of the same shots, in their order.",
            where="$.reference_fps",
        )
    bias = (fsum(readings) - fsum(references)) / len(readings) if readings else command.bias_fps
    found: list[Signal] = [] if command.good else ["person"]
    if len(readings) < rules.check_readings if readings else _closed_by_figures(chrono, place):
        found.append("too_few")
    if bias is not None:
        found += charted([*values(chrono, place), bias], rules)
    return ChronoChecked(
        chrono=command.chrono,
        good=not found,
        bias_fps=bias,
        readings_fps=readings,
        reference_fps=references,
        signals=tuple(found),
    )


def _closed_by_figures(chrono: Chrono, place: Place) -> bool:
    """Whether a check since the last good one was beyond a limit, whatever words came after it."""
    since = takewhile(lambda one: not one.good, (one for one in reversed(chrono.checks) if one.place < place))
    return any(not FIGURES.isdisjoint(one.signals) for one in since)


def charted(biases: Sequence[float], rules: ChronoRules) -> list[Signal]:
    """What the charts say of the last of these values."""
    return signals(biases[-1], singles(biases[-1:], rules)[-1], averages(biases, rules)[-1], rules)


def signals(bias_fps: float, single: Point, mean: Point, rules: ChronoRules) -> list[Signal]:
    """Beyond which limits a check lies: the rule's own, those of single checks, those of the moving mean."""
    beyond: dict[Signal, bool] = {
        "bias": abs(bias_fps) > rules.bias_fps,
        "shewhart": single.signal,
        "ewma": mean.signal,
    }
    return [name for name, found in beyond.items() if found]


def averages(biases: Sequence[float], rules: ChronoRules) -> tuple[Point, ...]:
    """The moving mean after each of these values, between its limits."""
    return ewma(biases, target=0, sigma=rules.check_sd_fps, weight=rules.ewma_weight, width=rules.ewma_width)


def singles(biases: Sequence[float], rules: ChronoRules) -> tuple[Point, ...]:
    """Each of these values by itself, between its limits."""
    return shewhart(biases, target=0, sigma=rules.check_sd_fps, width=rules.shewhart_width)
