"""Limits of velocity: what a field, a park or a law says, in the unit in which it says so."""

from typing import Annotated

from msgspec import Meta, Struct

from contracts.words import Energy

Feet = Annotated[float, Meta(gt=0, le=2000, description="Speed in feet per second.")]
Metres = Annotated[float, Meta(gt=0, le=600, description="Speed in metres per second.")]
Rate = Annotated[float, Meta(gt=0, le=100, description="Balls per second.")]
Mass = Annotated[float, Meta(gt=0.1, le=10, description="Mass of one ball in grams.")]


class Limit(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Any of these, in the unit in which it is stated; the strictest counts, for the ball that is shot. None at all limits nothing."""

    speed_fps: Feet | None = None
    speed_mps: Metres | None = None
    energy_j: Energy | None = None
    rate_bps: Rate | None = None
    """The rate of fire, in balls per second."""
