"""What a referee's handheld shows of one field, and the page that shows it.

It is no list of targets: nobody's eliminations are counted or asked for. People are listed by armband, so that a touch can name one of them.
"""

from datetime import datetime
from typing import Final, Literal

from msgspec import Struct

from contracts.bench import After
from contracts.board import Clock, FieldState, StandingHold
from contracts.games import ON_FIELD, AidPlace, Format
from contracts.problems import Broken, NotFound, PositionAhead, UnknownSubject
from contracts.read import BEHIND_A_KEY, Parameter, Read
from contracts.rules import Weight
from contracts.words import Colour, Part

PAGE: Final[dict[str, str]] = {
    "handheld.css": "text/css",
    "handheld.js": "text/javascript",
    "hands.js": "text/javascript",
    "log.js": "text/javascript",
    "sheets.js": "text/javascript",
    "show.js": "text/javascript",
    "since.js": "text/javascript",
    "starting.js": "text/javascript",
}
"""The files beside the page itself, and what they are."""
SHARED: Final[dict[str, str]] = {
    "follow.js": "text/javascript",
    "park.js": "text/javascript",
    "scan.js": "text/javascript",
    "sign-in.js": "text/javascript",
    "station.js": "text/javascript",
}
"""What the pages of stations share: the park as they ask it, what they keep until it has answered, and codes that are scanned or typed."""


class _Shown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is not known or does not apply is left out."""


class Worn(_Shown, frozen=True, kw_only=True):
    """Somebody as he can be seen from afar, with what a touch about him must name."""

    player: str
    armband: int
    colour: Colour | None = None
    part: Part = "player"
    marker: str | None = None
    """The marker that he carries; absent where he carries none, or more than one."""
    off: bool = False
    """Recorded as off the field."""


class Playing(_Shown, frozen=True, kw_only=True):
    """The game that is live, or held."""

    game: str
    format: Format
    clock: Clock
    people: tuple[Worn, ...]
    """Everybody who was let in."""


class Gathered(_Shown, frozen=True, kw_only=True):
    """The game that staging has called."""

    game: str
    format: Format
    minutes: float
    briefed: bool
    people: tuple[Worn, ...]


class Counting(_Shown, frozen=True, kw_only=True):
    """A game that is over, and whose heads are to be counted or searched for. How many are expected is not told before somebody has counted."""

    game: str
    people: tuple[Worn, ...]
    """Everybody who was let in."""
    counted: int | None = None
    expected: int | None = None
    missing: tuple[Worn, ...] = ()
    search_open: bool = False


class AidCall(_Shown, frozen=True, kw_only=True):
    """A call for first aid to this field that nobody has answered."""

    call: str
    place: AidPlace
    at: datetime


class Choice(_Shown, frozen=True, kw_only=True):
    """A violation that this device may record."""

    code: str
    title: str
    weight: Weight


class Handheld(_Shown, frozen=True, kw_only=True):
    """What the referee of one field sees. Whoever asks again with its epoch and position as `after` waits for what is newer."""

    park: str
    field: str
    title: str
    epoch: int
    position: int
    as_of: datetime
    """The park's own time of this answer."""
    time_zone: str
    state: FieldState
    why: tuple[str, ...] = ()
    """What keeps the field closed."""
    limit: str
    """Of the bench, on this field, in the park's own unit."""
    unit: Literal["fps", "mps", "joules"]
    holds: tuple[StandingHold, ...] = ()
    playing: Playing | None = None
    gathered: Gathered | None = None
    counting: tuple[Counting, ...] = ()
    aid: tuple[AidCall, ...] = ()
    violations: tuple[Choice, ...] = ()
    undo_minutes: float


HANDHELD_READS: Final[tuple[Read, ...]] = (
    Read(
        path="/parks/{park}/games/handheld/{field}",
        summary="What the referee of one field sees. With `after` it waits up to ten seconds for something newer.",
        roles=ON_FIELD,
        answer=Handheld,
        parameters=(
            Parameter(name="after", kind=After, description="`<epoch>:<position>` of the answer that is at hand."),
        ),
        problems=(*BEHIND_A_KEY, UnknownSubject, PositionAhead),
    ),
    Read(
        path="/parks/{park}/games/handheld",
        summary="The page for a referee's handheld. It asks for a referee's key and the field.",
        roles=None,
        media="text/html",
        problems=(NotFound, Broken),
    ),
    Read(
        path="/parks/{park}/games/worker.js",
        summary="Keeps the handheld's page on the device, so that it opens without a network.",
        roles=None,
        media="text/javascript",
        problems=(NotFound, Broken),
    ),
    *(
        Read(
            path=f"/parks/{{park}}/{where}/{name}",
            summary="A part of the handheld's page.",
            roles=None,
            media=media,
            problems=(NotFound, Broken),
        )
        for where, files in (("games/page", PAGE), ("page", SHARED))
        for name, media in files.items()
    ),
)
