"""What was measured, in words."""

from contracts.velocity import (
    ChronoAdjusted,
    ChronoChecked,
    ChronoRegistered,
    MarkerSpotChecked,
    MarkerTested,
    Misread,
    ReadingTaken,
    SetUpChanged,
    SpotCheckVoided,
    StringAbandoned,
    StringOpened,
)
from services.audit.words.scene import Scene, Words, in_game, spoken, together
from services.velocity.report import SIGNALS
from services.velocity.states import decides

_FINDINGS = {
    "under": "under the field's bench limit",
    "over_bench": "too fast for the field's bench limit",
    "over_stop": "too fast for the field's stop limit",
}


_MISREADS = {
    "no_shot": "no shot",
    "double_trigger": "a double trigger",
    "beam_lost": "the beam lost the shot",
    "impossible": "a speed that cannot be true",
}


def misread(one: Misread) -> str:
    """`a double trigger (290)`: what it was, with the speed in ft/s that was shown."""
    return _MISREADS[one.kind] + ("" if one.speed_fps is None else f" ({one.speed_fps:g})")


def _taken(data: ReadingTaken, _: Scene) -> str:
    of = f" of marker {data.marker} (test {data.test})" if data.marker and data.test else ", with no string open"
    if data.misread is None:
        return f"Chronograph {data.chrono} read {data.speed_fps or 0:g} ft/s{of}."
    return f"Chronograph {data.chrono} had a misread{of}: {misread(Misread(kind=data.misread, speed_fps=data.speed_fps, after=0))}."


def _checked(data: ChronoChecked, _: Scene) -> str:
    bias = "" if data.bias_fps is None else f" It read {round(data.bias_fps, 2):+g} ft/s against the reference."
    count = len(data.readings_fps)
    shots = f" over {count} shot{'s' if count > 1 else ''}" if count else ""
    if not decides(data.signals):
        return f"Chronograph {data.chrono} was checked{shots}: too few to decide anything.{bias}"
    finding = "agreed" if data.good else "did not agree"
    why = f" Closed: {together(SIGNALS[one] for one in data.signals)}." if data.signals else ""
    return f"Chronograph {data.chrono} was checked{shots} and {finding} with the reference.{bias}{why}"


def _tested(data: MarkerTested, _: Scene) -> str:
    sealed = " Its adjuster is sealed." if data.sealed else ""
    low = " The pressure was seen to be low." if data.low_pressure else ""
    warm = "" if data.temperature_c is None else f" At {data.temperature_c:g} °C."
    speeds = together(f"{speed:g}" for speed in data.readings_fps)
    shown = f"{speeds} ft/s" if data.readings_fps else "no reading"
    misreads = f" Misread: {together(map(misread, data.misreads))}." if data.misreads else ""
    ball = "" if data.ball_g is None else f" With balls of {data.ball_g:g} g."
    rate = "" if data.rate_bps is None else f" Up to {data.rate_bps:g} balls a second."
    return f"Marker {data.marker} was measured on chronograph {data.chrono} (test {data.test}): {shown}.{misreads}{ball}{rate}{low}{sealed}{warm}"


def _spot_checked(data: MarkerSpotChecked, _: Scene) -> str:
    held = f" of player {data.player}" if data.player else ""
    return (
        f"Marker {data.marker}{held} was spot-checked on field {data.field}{in_game(data.game)} (check {data.check}): "
        f"{data.speed_fps:g} ft/s, {_FINDINGS[data.finding]} (bench {round(data.bench_limit_fps, 1):g}, stop {round(data.stop_limit_fps, 1):g} ft/s)."
    )


def _changed(data: SetUpChanged, _: Scene) -> str:
    mode = f" It is set to {data.firing_mode} now." if data.firing_mode else ""
    return f"Marker {data.marker} was changed: {spoken(data.change)}.{mode}"


WORDS: Words = {
    ChronoRegistered: lambda d, _: f"Chronograph {d.chrono} was entered.",
    ChronoChecked: _checked,
    ChronoAdjusted: lambda d, _: f"Chronograph {d.chrono} was worked on: {spoken(d.work)}.",
    StringOpened: lambda d, _: f"A string of marker {d.marker} was begun on chronograph {d.chrono} (test {d.test}).",
    ReadingTaken: _taken,
    StringAbandoned: lambda d, _: (
        f"The string of marker {d.marker} on chronograph {d.chrono} was given up (test {d.test})."
    ),
    MarkerTested: _tested,
    SetUpChanged: _changed,
    MarkerSpotChecked: _spot_checked,
    SpotCheckVoided: lambda d, _: (
        f"The spot check {d.check} of marker {d.marker} on field {d.field} was withdrawn: it was noted wrongly."
    ),
}
