"""How long one waits: at each station, and until one plays. Ranges with their confidence; they bind nobody.

They name nobody: stations, groups by their id, and who came alone by armband. Air is filled without any record: of that line nothing is known.
"""

from datetime import date, datetime

from msgspec import Struct

from contracts.board import Range, StationName
from contracts.problems import Broken, InvalidParameter, NotCaughtUp, NotFound, PositionAhead, Unavailable
from contracts.read import AT_LEAST, Read
from contracts.words import FieldId, GameId, GroupId


class _Told(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is not known or does not apply is left out."""


class InLine(_Told, frozen=True, kw_only=True):
    """A group that stands at a station, or somebody who came alone: how many of it, and when the first and the last of them are served."""

    heads: int
    first: Range
    last: Range
    group: GroupId | None = None
    armband: int | None = None


class StationWait(_Told, frozen=True, kw_only=True):
    """One station. Those in line are who lacks what is done there first, as far as that was recorded: look at the line, too."""

    waiting: int
    servers: int
    """Who ended a turn here in the last minutes, or is in one."""
    served: int
    """How many were served today, in turns that are over."""
    turns: int
    """On how many of today's latest turns the ranges rest, beside the rule's prior."""
    minutes_a_head: float
    """Of one server, on average."""
    joined_a_minute: float
    """Over the rule's last minutes."""
    utilisation: float | None = None
    """Arrivals by what all servers can do; from 1 on the line grows without bound for as long as that lasts. Absent where nobody serves."""
    steady_minutes: float | None = None
    """The mean wait where arrivals and pace stay as they are for long (Erlang C); absent where the line would grow without bound."""
    wait: Range | None = None
    """For who joins now, until it is his turn; absent where nobody serves and somebody waits."""
    line: tuple[InLine, ...] = ()
    says: str
    helps: str | None = None


class NextGame(_Told, frozen=True, kw_only=True):
    """When a group, or who came alone, plays next by the rotation's plan; or the sentence why nothing is planned for it."""

    field: FieldId | None = None
    title: str | None = None
    starts: Range | None = None
    game: GameId | None = None
    """Where it is called already."""
    says: str


class Waits(_Told, frozen=True, kw_only=True):
    """A park's waits as of a position of its log and a moment of its clock."""

    park: str
    day: date
    as_of: datetime
    epoch: int
    position: int
    confidence: float
    stations: dict[StationName, StationWait]
    plays: dict[str, NextGame]
    """By group, and by `armband:<number>` for who came alone."""


WAIT_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/waits",
        summary="How long does one wait at each station, and when does each group play? Ranges with their confidence. They name nobody.",
        roles=None,
        answer=Waits,
        parameters=(AT_LEAST,),
        problems=(InvalidParameter, NotFound, PositionAhead, NotCaughtUp, Unavailable, Broken),
    ),
)
