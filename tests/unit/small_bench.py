"""The chronograph bench of a small park: its markers and chronographs, and whatever is shot, checked and turned there."""

from itertools import product
from typing import Any, Final

from hypothesis import strategies as st

from contracts import velocity
from contracts.envelope import Command

FIELDS: Final = ("birch", "fern")
CHRONOS: Final = ("k1", "k2")
MARKERS: Final = ("h1", "h2", "h3", "h4", "own1")


def string(marker: str, speed: float, chrono: str = "k1") -> Command:
    return velocity.TestMarker(test="t", marker=marker, chrono=chrono, readings_fps=(speed, speed - 1, speed - 2))


def check(chrono: str, off_fps: float, shots: int = 3) -> Command:
    """What a chronograph that is off by so much, and a reference, read of the same shots."""
    reference = (280.0, 281.0, 279.0)[:shots]
    return velocity.CheckChrono(
        chrono=chrono, readings_fps=tuple(one + off_fps for one in reference), reference_fps=reference
    )


def any_of(kind: Any, **choices: Any) -> st.SearchStrategy[Any]:
    """A command with any of these values in its fields; what is no tuple or strategy is the value itself."""
    return st.builds(
        kind, **{name: st.sampled_from(one) if isinstance(one, tuple) else one for name, one in choices.items()}
    )


SET_UPS: Final = st.one_of(
    st.sampled_from([string(*one) for one in product(MARKERS, (250.0, 258.0, 270.0, 286.0), CHRONOS)]),
    any_of(velocity.ChangeSetUp, marker=MARKERS, change=("adjuster", "barrel", "paint", "refill", "hopper")),
    any_of(
        velocity.SpotCheckMarker,
        check=st.just("s"),
        marker=MARKERS,
        field=FIELDS,
        speed_fps=(255.0, 262.0, 290.0, 310.0),
    ),
)
"""What happens to a marker."""

OPENINGS: Final = any_of(velocity.OpenString, test=st.just("s"), marker=MARKERS, chrono=CHRONOS)
READINGS: Final = st.one_of(
    any_of(velocity.TakeReading, chrono=CHRONOS, speed_fps=(250.0, 256.0, 270.0, 282.0)),
    any_of(velocity.TakeReading, chrono=CHRONOS, speed_fps=(0.0, 600.0, None)),
    any_of(velocity.TakeReading, chrono=CHRONOS, speed_fps=(250.0, 290.0), misread=st.just("double_trigger")),
    any_of(velocity.EndString, chrono=CHRONOS, low_pressure=st.booleans()),
)
"""What a chronograph shows, and the end of a string."""
INSTRUMENTS: Final = st.one_of(
    st.builds(check, st.sampled_from(CHRONOS), st.sampled_from((0.0, 0.0, 0.0, 1.2, -4.0)), st.sampled_from((3, 3, 2))),
    any_of(velocity.CheckChrono, chrono=CHRONOS, good=st.booleans(), bias_fps=(None, -3.0)),
    any_of(velocity.AdjustChrono, chrono=CHRONOS, work=("sensor", "moved")),
)
"""What happens to a chronograph."""
