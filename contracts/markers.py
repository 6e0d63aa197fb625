"""A marker asked about: what the chronograph bench knows of it in its present set-up, and what that says about each field."""

from datetime import datetime
from typing import Annotated, Final, Literal

from msgspec import Meta, Struct

from contracts.chronos import WATCHING
from contracts.envelope import Basis, Reason
from contracts.judgement import Judgement
from contracts.problems import UnknownSubject
from contracts.read import BEHIND_A_KEY, Parameter, Read
from contracts.velocity import Misread
from contracts.words import Calibre, FieldId, FiringMode, Gas


class _Shown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is not known or does not apply is left out."""


class MarkerString(_Shown, frozen=True, kw_only=True):
    """One string of the present set-up, in ft/s, grams, degrees Celsius and balls per second."""

    test: str
    chrono: str
    at: datetime
    readings_fps: tuple[float, ...]
    misreads: tuple[Misread, ...] = ()
    low_pressure: bool = False
    sealed: bool = False
    temperature_c: float | None = None
    ball_g: float
    """As it was weighed, or as the park's rules take it to be for the calibre."""
    rate_bps: float | None = None


class MarkerOnField(_Shown, frozen=True, kw_only=True):
    """What the strings say about one field, and every reason of the bench's own why the marker may not be played with there now.

    Who holds it, and whether its owner has been away since, is for clearance to say.
    """

    field: str
    title: str
    line: Annotated[str, Meta(examples=["Birch 285 ft/s: pass", "Fern 70 m/s: turn down 3.7 m/s"])]
    cleared: bool
    reasons: tuple[Reason, ...]
    judgement: Judgement | None = None
    """The worst string that turned it down, since that stands until the set-up changes; else the latest."""
    held: str | None = None
    """What is held against the limit, in the park's own unit."""
    limit: str | None = None
    """The limit that counts, likewise."""


class MarkerAtBench(_Shown, frozen=True, kw_only=True):
    """A marker as the chronograph bench knows it now. `unit` is the one in which the park's screens show speeds."""

    marker: str
    calibre: Calibre | None = None
    firing_mode: FiringMode
    gas: Gas | None = None
    """Absent once it was changed: the record does not say to which."""
    owned: bool
    """A player's own; else for hire."""
    unit: Literal["fps", "mps", "joules"]
    voided_at: datetime | None = None
    voided_by: str | None = None
    """What voided every string from before it: the change to the set-up, `repair`, or `spot_check`."""
    strings: tuple[MarkerString, ...]
    fields: tuple[MarkerOnField, ...]
    basis: Basis


MARKER_READS: Final = (
    Read(
        path="/parks/{park}/velocity/markers/{marker}",
        summary="A marker as the chronograph bench knows it: its strings, what voided the ones before, and what they say about each field.",
        roles=WATCHING,
        answer=MarkerAtBench,
        parameters=(
            Parameter(
                name="field", kind=FieldId, description="The one field that is asked about; every one without it."
            ),
        ),
        problems=(*BEHIND_A_KEY, UnknownSubject),
    ),
)
