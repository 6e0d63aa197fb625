"""The park's closing: who has not left, children first, and what else is left open. It says `everybody has left` only when that is so."""

from datetime import date, datetime
from typing import Literal

from msgspec import Struct

from contracts.checks import CheckState
from contracts.clearance import GATE
from contracts.read import FROM_READ_TABLES, Read

LeftOpen = Literal["called", "live", "not_counted", "missing", "searched_for"]


class _Shown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What does not apply is left out."""


class StillHere(_Shown, frozen=True, kw_only=True):
    """Somebody who came today and is not recorded as having left."""

    player: str
    person: str
    armband: int
    group: str | None = None
    minor: bool = False
    adults: tuple[str, ...] = ()
    """Of a minor: the persons who answer for it now, by its guardians' word. It is handed to one of them and to nobody else."""
    field: str | None = None
    """The field that he is recorded to be on."""
    not_understood: bool = False
    """His record holds something that this software cannot read: whether he has left is not known."""


class GearOut(_Shown, frozen=True, kw_only=True):
    """A piece of the park's own gear that was not given back, and who holds it."""

    gear: str
    player: str
    armband: int
    gone_home: bool = False


class OpenField(_Shown, frozen=True, kw_only=True):
    """What a field still waits for: a game, its head-count, or a search. `missing` may be more than really are; nobody named: not known who."""

    field: str
    game: str
    state: LeftOpen
    missing: tuple[str, ...] = ()


class StandingHold(_Shown, frozen=True, kw_only=True):
    field: str
    hold: str
    cause: str
    asked_at: datetime


class Closing(Struct, frozen=True, kw_only=True):
    """The day as it would be closed now. Uncollected minors come first; nothing here bars the closing, and nobody is forgotten by it."""

    park: str
    day: date
    as_of: datetime
    epoch: int
    position: int
    everybody_has_left: bool
    sentence: str
    still_here: tuple[StillHere, ...]
    minors_here: int
    gear_out: tuple[GearOut, ...]
    fields: tuple[OpenField, ...]
    holds: tuple[StandingHold, ...]
    incidents: tuple[str, ...]
    """Those that nobody has closed, of whatever day."""
    checks: tuple[CheckState, ...]
    """Closing checks that are open or found a fault."""


CLOSING_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/closing",
        summary="Who has not left, uncollected minors first; gear out, searches, holds, incidents and checks that are open. As of the log's end.",
        roles=GATE,
        answer=Closing,
        problems=FROM_READ_TABLES,
    ),
)
