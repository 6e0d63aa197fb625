"""The roll-call for an evacuation: who is on which field, who is elsewhere in the park, who came off since play was stopped.

It names nobody: armband numbers and colours. The record knows only who was recorded: whoever clears a field walks it.
"""

from datetime import date, datetime
from typing import Final

from msgspec import Struct

from contracts.clearance import GATE
from contracts.problems import Broken, NotCaughtUp, NotFound
from contracts.read import BEHIND_A_KEY, Read
from contracts.words import Colour, GroupId, Part


class Head(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One person as he can be seen from afar. `sought`: a head-count lacks him, and nobody has seen him since."""

    armband: int
    colour: Colour | None = None
    part: Part = "player"
    minor: bool = False
    sought: bool = False


class FieldHeads(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One field. Whose game is over and whose heads were not counted is still taken to be on it."""

    title: str
    on: tuple[Head, ...]
    staff: int
    """How many members of staff are on duty at the field."""
    stopped_since: datetime | None = None
    """Since when play is stopped; absent while it is not."""
    off_since: tuple[Head, ...] = ()
    """Who is known to have come off since then."""


class GroupHeads(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Who is in the park, on no field, and came together; without a group: who came alone."""

    heads: tuple[Head, ...]
    group: GroupId | None = None


class RollCall(Struct, frozen=True, kw_only=True):
    """Everybody who came today and has not left the park, once; as of a position of the log."""

    park: str
    day: date
    as_of: datetime
    epoch: int
    position: int
    on_fields: int
    minors_on_fields: int
    off_fields: int
    minors_off_fields: int
    fields: dict[str, FieldHeads]
    groups: tuple[GroupHeads, ...]


ROLL_CALL_PAGE: Final[dict[str, str]] = {"roll-call.css": "text/css", "roll-call.js": "text/javascript"}
"""The files of the page with the roll-call and the closing list, and what they are."""
ROLL_CALL_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/roll-call",
        summary="The page with the roll-call by field, and the closing list: large, and to be printed. It asks for a key of any of the staff's devices.",
        roles=None,
        media="text/html",
        problems=(NotFound, Broken),
    ),
    *(
        Read(
            path=f"/parks/{{park}}/roll-call/{name}",
            summary="A part of the roll-call's page.",
            roles=None,
            media=media,
            problems=(NotFound, Broken),
        )
        for name, media in ROLL_CALL_PAGE.items()
    ),
    Read(
        path="/parks/{park}/games/roll-call",
        summary="Who is on which field, who is elsewhere in the park, and who came off since play was stopped? By armband, for an evacuation.",
        roles=GATE,
        answer=RollCall,
        problems=(*BEHIND_A_KEY, NotCaughtUp),
    ),
)
