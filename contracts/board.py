"""The board: a park's live status, as a screen across the yard shows it.

It names nobody: players by armband number and colour only. What only time changes is given as facts (when a game started, how long it
was stopped), so that every reader runs the clock by itself. Fields, stations and reasons are objects by name, so that a merge patch
(RFC 7396) stays small; nothing is ever null.
"""

from datetime import date, datetime
from typing import Final, Literal

from msgspec import Struct

from contracts.weather import HeatDemand
from contracts.words import Colour

FieldState = Literal["closed", "open", "called", "briefed", "live", "hold asked", "held", "counting"]
StationName = Literal[
    "desk", "briefing", "gear counter", "chronograph", "staging", "first aid", "head referee", "manager"
]
AlertKind = Literal[
    "hold_not_confirmed",
    "first_aid_called",
    "lightning",
    "heat",
    "heads_missing",
    "search_open",
    "not_cleared_on_field",
    "let_in_offline",
    "over_stop_limit",
    "chrono_closed",
    "chrono_overdue",
    "no_first_aider",
    "too_few_referees",
    "check_failed",
    "unresolved_caution",
    "report_overdue",
]
PAGE: Final[dict[str, str]] = {
    "board.css": "text/css",
    "board.js": "text/javascript",
    "cards.js": "text/javascript",
    "dom.js": "text/javascript",
    "follow.js": "text/javascript",
    "icon.svg": "image/svg+xml",
}
"""The files of the wall screen's page, and what they are."""


class _Shown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is not known or does not apply is left out."""


class Armband(_Shown, frozen=True, kw_only=True):
    """Who it is, as he can be seen from afar. The colour is there once he is on a game list."""

    number: int
    colour: Colour | None = None


class Clock(_Shown, frozen=True, kw_only=True):
    """A game's clock as facts. Played so far: (`stopped_at`, or now) - `started_at` - `held_seconds`."""

    started_at: datetime
    minutes: float
    held_seconds: float
    """How long play was stopped before, in stops that are over."""
    stopped_at: datetime | None = None
    """Since when play has been stopped; absent while it runs."""
    deadline: datetime | None = None
    """When the time is up, unless play is stopped again; absent while it is stopped."""


class Team(_Shown, frozen=True, kw_only=True):
    playing: int
    out: int


class StandingHold(_Shown, frozen=True, kw_only=True):
    """A hold that nobody has lifted. Until `confirmed_at` the field's referee has not said "stopped, covers on". It is confirmed and lifted by `hold`."""

    hold: str
    cause: str
    asked_at: datetime
    confirmed_at: datetime | None = None


class Count(_Shown, frozen=True, kw_only=True):
    """The head-count that a field waits for: not counted yet, or with somebody missing.

    `short` is how many are missing: where it is fewer than `missing` names, each of these may be one of them.
    """

    game: str
    counted: bool
    short: int
    missing: tuple[Armband, ...]


class Wait(_Shown, frozen=True, kw_only=True):
    """One reason that stands in a game's way. `who` is empty where it is the field's own."""

    sentence: str
    where: str
    who: tuple[Armband, ...]


class Next(_Shown, frozen=True, kw_only=True):
    """The game that is called for a field, and by code what it waits for. Nothing: it may start."""

    game: str
    format: str
    minutes: float
    briefed: bool
    teams: dict[str, int]
    ready: int
    waits_for: dict[str, Wait]


class Coming(_Shown, frozen=True, kw_only=True):
    """A game of the published plan that nobody has called yet: about when, which groups, and how many who came alone."""

    at: datetime
    groups: tuple[str, ...]
    players: int
    alone: int = 0
    private: bool = False


class Field(_Shown, frozen=True, kw_only=True):
    """One field. `why` says what keeps it closed; `then`: its next games by the published plan, after the one that is called."""

    title: str
    limit: str
    """Of the bench: the strictest that counts there, in the park's own unit. Empty while the field is not configured."""
    state: FieldState
    teams: dict[str, Team]
    non_players: int
    inside: int
    """Everybody on it, players or not; whose game is over stays counted until the head-count."""
    why: tuple[str, ...]
    holds: tuple[StandingHold, ...]
    game: str | None = None
    format: str | None = None
    clock: Clock | None = None
    count: Count | None = None
    next: Next | None = None
    then: tuple[Coming, ...] = ()


class Result(_Shown, frozen=True, kw_only=True):
    """The last thing that a station recorded, in words."""

    what: str
    at: datetime


class Range(_Shown, frozen=True, kw_only=True):
    """Minutes from a moment on: as often below `low` as above `high`, and as likely before `likely` as after."""

    low: float
    likely: float
    high: float


class Station(_Shown, frozen=True, kw_only=True):
    """`waiting`: the players whose first missing thing is cleared here. `wait`: of who joins now, some seconds old at most."""

    waiting: int
    last: Result | None = None
    wait: Range | None = None
    helps: str | None = None
    """What would cut the wait."""


class Players(_Shown, frozen=True, kw_only=True):
    """Today's people. Registered are those cleared, not cleared, on a field and gone home; the rest counts among these."""

    registered: int
    cleared: int
    not_cleared: int
    on_field: int
    gone_home: int
    sitting_out: int
    stood_down: int
    ejected: int
    minors_here: int
    reasons: dict[str, int]
    """How many of those not cleared each reason holds back; somebody may have several. `heads_missing`: a count lacks them."""


class Weather(_Shown, frozen=True, kw_only=True):
    """What the weather demands. `resume_at`: before it no field that is held by the weather is resumed, and then only by a person."""

    wbgt_c: float | None = None
    heat_index_c: float | None = None
    demands: HeatDemand | None = None
    lightning_at: datetime | None = None
    """The last flash or thunder, while play may not be resumed for it."""
    resume_at: datetime | None = None


class Alert(_Shown, frozen=True, kw_only=True):
    """Something that somebody must see to now."""

    kind: AlertKind
    sentence: str
    field: str | None = None
    since: datetime | None = None


class Play(_Shown, frozen=True, kw_only=True):
    """A group that plays soon, and in how many minutes."""

    group: str
    title: str
    """Of the field."""
    starts: Range


class Status(_Shown, frozen=True, kw_only=True):
    """A park at a glance, as of a position of its log and a moment of its own clock."""

    park: str
    day: date
    opened: bool
    time_zone: str
    as_of: datetime
    epoch: int
    position: int
    fields: dict[str, Field]
    stations: dict[StationName, Station]
    players: Players
    alerts: tuple[Alert, ...]
    weather: Weather | None = None
    plays: tuple[Play, ...] = ()
    """The next groups to play, the first first; some seconds old at most."""


class Beat(_Shown, frozen=True, kw_only=True):
    """The server is there, and the board has everything that the log had some seconds ago."""

    as_of: datetime
    position: int
