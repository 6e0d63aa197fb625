"""What was measured, in words."""

from contracts.velocity import ChronoChecked, ChronoRegistered, MarkerSpotChecked, MarkerTested, SetUpChanged
from services.audit.words.scene import Scene, Words, in_game, spoken, together

_FINDINGS = {
    "under": "under the field's bench limit",
    "over_bench": "too fast for the field's bench limit",
    "over_stop": "too fast for the field's stop limit",
}


def _checked(data: ChronoChecked, _: Scene) -> str:
    bias = "" if data.bias_fps is None else f" It read {data.bias_fps:+g} ft/s against the reference."
    finding = "agreed" if data.good else "did not agree"
    return f"Chronograph {data.chrono} was checked and {finding} with the reference.{bias}"


def _tested(data: MarkerTested, _: Scene) -> str:
    sealed = " Its adjuster is sealed." if data.sealed else ""
    low = " The pressure was seen to be low." if data.low_pressure else ""
    warm = "" if data.temperature_c is None else f" At {data.temperature_c:g} °C."
    speeds = together(f"{speed:g}" for speed in data.readings_fps)
    return f"Marker {data.marker} was measured on chronograph {data.chrono} (test {data.test}): {speeds} ft/s.{low}{sealed}{warm}"


def _spot_checked(data: MarkerSpotChecked, _: Scene) -> str:
    held = f" of player {data.player}" if data.player else ""
    return (
        f"Marker {data.marker}{held} was spot-checked on field {data.field}{in_game(data.game)} (check {data.check}): "
        f"{data.speed_fps:g} ft/s, {_FINDINGS[data.finding]} (bench {data.bench_limit_fps:g}, stop {data.stop_limit_fps:g} ft/s)."
    )


def _changed(data: SetUpChanged, _: Scene) -> str:
    mode = f" It is set to {data.firing_mode} now." if data.firing_mode else ""
    return f"Marker {data.marker} was changed: {spoken(data.change)}.{mode}"


WORDS: Words = {
    ChronoRegistered: lambda d, _: f"Chronograph {d.chrono} was entered.",
    ChronoChecked: _checked,
    MarkerTested: _tested,
    SetUpChanged: _changed,
    MarkerSpotChecked: _spot_checked,
}
