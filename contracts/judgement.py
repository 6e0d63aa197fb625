"""What a string of readings says about a limit: the answer of the bench, with everything that it rests on."""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from contracts.velocity import Misread
from contracts.words import Calibre

Verdict = Literal["pass", "turn_down", "inconclusive"]
Basis = Literal["every", "mean", "next_shot"]
Cause = Annotated[
    Literal["too_few", "low_pressure", "wide_spread", "suspiciously_low", "impossible", "fast_misread", "rate_unseen"],
    Meta(
        description=(
            "Why a string decides nothing. `fast_misread`: one that would have turned it down, had it been a reading; "
            "`rate_unseen`: the rate of fire is limited, the marker sets its own, and nobody saw it."
        )
    ),
]


class Bound(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The limit that counts, in ft/s for the ball that was shot, and where it comes from, as it is stated there."""

    limit_fps: float
    source: Literal["field", "park", "law"]
    stated: str
    """Such as `285 ft/s`, `90 m/s`, `7.5 J`."""
    rate_bps: float | None = None
    """The strictest limit of the rate of fire; absent where there is none."""


class Judgement(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Speeds in ft/s, energies in J. What a string of too few readings cannot say is left out."""

    verdict: Verdict
    sentence: str
    """For the person at the bench: pass, or turn down by about how much, or why it decides nothing."""
    causes: tuple[Cause, ...] = ()
    basis: Basis
    bound: Bound
    comparison: Literal["<", "<="]
    n: int
    mean_fps: float | None = None
    sd_fps: float | None = None
    """The sample's, over n - 1."""
    extreme_spread_fps: float | None = None
    highest_fps: float | None = None
    held_fps: float | None = None
    """What is held against the limit: the highest reading, the mean with its guard band, or the bound of the next shot.

    For the last two it is the mean alone while there are too few readings: it can turn down, and not pass. Of a string that was shot on, it is the
    highest that it came to since it was full."""
    margin_fps: float | None = None
    """The limit less what is held against it."""
    turn_down_fps: float | None = None
    """By about how much to turn down: until what is held lies one spread, at least 5 ft/s, under the limit."""
    probability_over: float | None = None
    """That the next shot reaches the limit."""
    stated_risk: float
    """Of a wrong pass, for this basis and this many readings; what it is of, the park's rules say."""
    energy_j: float | None = None
    """Of the highest reading."""
    ball_g: float
    calibre: Calibre | None = None
    too_fast_a_rate: bool = False
    misreads: tuple[Misread, ...] = ()
    """Kept as evidence, and no part of the figures."""
