"""What the gear counter's page shows: who stands there with what, the piece in hand, the spares that are left and what is still out; and the page."""

from datetime import date, datetime
from typing import Annotated, Final, Literal

from msgspec import Meta, Struct

from contracts.bench import After
from contracts.envelope import Reason
from contracts.equipment import GEAR_AND_CHRONO
from contracts.problems import Broken, NotFound, PositionAhead, UnknownSubject
from contracts.read import AT_LEAST, BEHIND_A_KEY, FROM_READ_TABLES, Parameter, Read
from contracts.words import PlayerId

PAGE: Final[dict[str, str]] = {
    "act.js": "text/javascript",
    "code.js": "text/javascript",
    "counter.css": "text/css",
    "counter.js": "text/javascript",
    "offers.js": "text/javascript",
    "show.js": "text/javascript",
}
"""The files beside the page itself, and what they are."""
Kind = Literal["marker", "mask", "bottle"]
Code = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$(?!\n)",
        examples=["marker-31"],
        description="What is read off a piece of gear.",
    ),
]


class _Shown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is not known or does not apply is left out."""


class Piece(_Shown, frozen=True, kw_only=True):
    """A marker, a mask or a bottle as the record has it."""

    kind: Kind
    name: str
    owner: str | None = None
    """Whose own it is; absent of the park's."""
    holder: str | None = None
    """Who has it; absent while it lies at the counter."""
    since: datetime | None = None
    """When it came to its holder, or back to the counter."""
    faults: tuple[str, ...] = ()
    """What keeps it in quarantine."""
    calibre: str | None = None
    firing_mode: str | None = None
    gas: str | None = None
    test_due: date | None = None
    """The last day of a bottle's test."""
    inspected_at: datetime | None = None
    reasons: tuple[Reason, ...] = ()
    """Of what the player carries: why it does not serve him. Of the piece in hand: why it cannot be given to him."""


class Customer(_Shown, frozen=True, kw_only=True):
    """Who stands at the counter."""

    player: str
    armband: int
    gear: tuple[Piece, ...]
    """What he has been issued, and what he brought."""


class Counter(_Shown, frozen=True, kw_only=True):
    """What the person at the counter sees. Whoever asks again with its epoch and position as `after` waits for what is newer."""

    park: str
    epoch: int
    position: int
    as_of: datetime
    """The park's own time of this answer."""
    day: date
    time_zone: str
    customer: Customer | None = None
    code: str | None = None
    """The code that was asked about."""
    in_hand: tuple[Piece, ...] = ()
    """What bears the code: nothing, one piece, or several of different kinds."""


class Spares(Struct, frozen=True, kw_only=True):
    """The park's own gear of one model. Each piece counts once: out before quarantined, quarantined before out of test."""

    kind: Kind
    model: str
    ready: int
    out: int
    quarantined: int
    out_of_test: int


class StillOut(_Shown, frozen=True, kw_only=True):
    """A piece of the park's own that somebody has."""

    kind: Kind
    name: str
    model: str
    player: str
    armband: int | None = None
    since: datetime
    other_day: bool = False
    """It went out before today."""


class Stock(Struct, frozen=True, kw_only=True):
    """The park's own gear: what is left, and what is out, the longest first."""

    epoch: int
    position: int
    as_of: datetime
    spares: tuple[Spares, ...]
    out: tuple[StillOut, ...]


GEAR_READS: Final[tuple[Read, ...]] = (
    Read(
        path="/parks/{park}/equipment/counter.json",
        summary="What the gear counter shows of one player and of the piece in hand. With `after` it waits up to ten seconds for something newer.",
        roles=GEAR_AND_CHRONO,
        answer=Counter,
        parameters=(
            Parameter(name="player", kind=PlayerId, description="Who stands at the counter."),
            Parameter(name="gear", kind=Code, description="What is read off a marker, a mask or a bottle."),
            Parameter(name="after", kind=After, description="`<epoch>:<position>` of the answer that is at hand."),
        ),
        problems=(*BEHIND_A_KEY, UnknownSubject, PositionAhead),
    ),
    Read(
        path="/parks/{park}/equipment/stock",
        summary="The park's own gear: the spares of each model, and what is still out. From the read tables; the counter decides on the log.",
        roles=GEAR_AND_CHRONO,
        answer=Stock,
        parameters=(AT_LEAST,),
        problems=FROM_READ_TABLES,
    ),
    Read(
        path="/parks/{park}/equipment/counter",
        summary="The page for the gear counter. It asks for the key of a device of the counter.",
        roles=None,
        media="text/html",
        problems=(NotFound, Broken),
    ),
    *(
        Read(
            path=f"/parks/{{park}}/equipment/page/{name}",
            summary="A part of the gear counter's page.",
            roles=None,
            media=media,
            problems=(NotFound, Broken),
        )
        for name, media in PAGE.items()
    ),
)
