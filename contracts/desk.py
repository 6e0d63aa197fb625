"""What the desk reads besides players: the park's pass keys, passes to print, and its own page."""

from datetime import date, datetime
from typing import Annotated, Final

from msgspec import Meta, Struct

from contracts.bench import After
from contracts.clearance import Names
from contracts.envelope import Reason
from contracts.passes import PassKeys
from contracts.problems import (
    Broken,
    NotFound,
    NotInThatState,
    PositionAhead,
    RuleForbids,
    Unavailable,
    UnknownSubject,
)
from contracts.read import BEHIND_A_KEY, Parameter, Read
from contracts.registration import DESK
from contracts.words import AgeBand, FieldId, Part, PlayerId

SVG, HTML = "image/svg+xml", "text/html"
PAGE: Final[dict[str, str]] = {
    "cards.js": "text/javascript",
    "desk.css": "text/css",
    "desk.js": "text/javascript",
    "panels.js": "text/javascript",
    "party.js": "text/javascript",
    "register.js": "text/javascript",
    "sheet.css": "text/css",
}
"""The files beside the page itself, and what they are."""
PrintedPlayers = Annotated[
    Names, Meta(description="Up to 100 players, in the order in which their passes are printed.")
]


class DeskField(Struct, frozen=True, kw_only=True):
    field: str
    title: str


class DeskCard(Struct, frozen=True, kw_only=True):
    """One player before the desk: who he is to the record, and everything that he still lacks, wherever it is cleared."""

    player: str
    person: str
    age_band: AgeBand
    minor: bool
    part: Part
    group: str | None
    armband: int
    day_pass: str
    left: bool
    adults: tuple[str, ...]
    """The persons who answer for a minor in the park now."""
    cleared: bool
    reasons: tuple[Reason, ...]


class AtDesk(Struct, frozen=True, kw_only=True):
    """Some players as of a position of the log, with what the desk must know of the rules. Nobody is admitted on it."""

    park: str
    epoch: int
    position: int
    as_of: datetime
    day: date
    time_zone: str
    currency: str
    waiver: str
    """The wording that is signed now."""
    briefing: int
    majority_years: int
    field: str | None
    """The field that is asked about; null where the park has none."""
    fields: tuple[DeskField, ...]
    players: tuple[DeskCard, ...]


DESK_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/registration/desk-list",
        summary="What each of some players still lacks for a field, and where it is cleared, with what the desk must name to clear it. Read from the log itself; it can be followed.",
        roles=DESK,
        answer=AtDesk,
        parameters=(
            Parameter(name="players", kind=Names, description="Who stands at the desk; nobody where it is left out."),
            Parameter(
                name="field", kind=FieldId, description="The field that they are to play on; else the first by title."
            ),
            Parameter(name="after", kind=After, description="`<epoch>:<position>` of the answer that is at hand."),
        ),
        problems=(*BEHIND_A_KEY, UnknownSubject, PositionAhead),
    ),
    Read(
        path="/parks/{park}/passes/keys",
        summary="The public keys that verify this park's day passes, the one in use last: what a device needs to check a pass without the network.",
        roles=None,
        answer=PassKeys,
        problems=(NotFound, Unavailable, Broken),
    ),
    Read(
        path="/parks/{park}/registration/pass.svg",
        summary="The code of a player's day pass as it is now, as a picture.",
        roles=DESK,
        media=SVG,
        parameters=(Parameter(name="player", kind=PlayerId, description="Whose pass.", required=True),),
        problems=(*BEHIND_A_KEY, UnknownSubject, NotInThatState),
    ),
    Read(
        path="/parks/{park}/registration/pass-sheet",
        summary="Day passes to print and cut, with their armband numbers. It names nobody.",
        roles=DESK,
        media=HTML,
        parameters=(Parameter(name="players", kind=PrintedPlayers, description="Whose passes.", required=True),),
        problems=(*BEHIND_A_KEY, UnknownSubject, NotInThatState, RuleForbids),
    ),
    Read(
        path="/parks/{park}/registration/desk",
        summary="The page for whoever registers people at the desk.",
        roles=None,
        media=HTML,
        problems=(NotFound, Broken),
    ),
    *(
        Read(
            path=f"/parks/{{park}}/registration/page/{name}",
            summary="A part of the desk's page.",
            roles=None,
            media=media,
            problems=(NotFound, Broken),
        )
        for name, media in PAGE.items()
    ),
)
