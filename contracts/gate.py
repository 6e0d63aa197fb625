"""What a gate keeps of one field, so that it can answer while it has no network: everybody of today, cleared or with every reason why not; and its page.

By armband numbers, opaque ids and fingerprints of day passes: it names nobody. It is as old as its `as_of`; the rules say for how long a gate may go by it.
"""

from datetime import date, datetime
from typing import Final, Literal

from msgspec import Struct

from contracts.bench import After
from contracts.clearance import GATE
from contracts.envelope import Reason
from contracts.problems import Broken, NotFound, UnknownSubject
from contracts.read import FROM_READ_TABLES, Parameter, Read
from contracts.words import FieldId, Part

PAGE: Final[dict[str, str]] = {
    "answer.js": "text/javascript",
    "gate.css": "text/css",
    "gate.js": "text/javascript",
    "keeping.js": "text/javascript",
    "letting.js": "text/javascript",
    "pass.js": "text/javascript",
    "show.js": "text/javascript",
}
"""The files beside the page itself, and what they are."""


class AtGate(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Somebody of today. Passes by the SHA-256 of the pass's own id, in hex, so that a list that is lost opens no gate."""

    player: str
    armband: int
    part: Part = "player"
    pass_sha256: str
    replaced_sha256: tuple[str, ...] = ()
    """Passes of his that a newer one has replaced."""
    cleared: bool = False
    """Nothing stands against him, nor against anybody on this field."""
    reasons: tuple[Reason, ...] = ()
    """His own; the field's stand once, in the list."""


class GateGame(Struct, frozen=True, kw_only=True):
    """The game that is played on the field."""

    game: str
    format: Literal["elimination", "respawn", "scenario", "continuous"]


class GateList(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One field's gate as of a position of the log."""

    park: str
    field: str
    title: str
    day: date
    time_zone: str
    epoch: int
    position: int
    as_of: datetime
    """The park's own time of this answer."""
    offline_minutes: float
    """For so long a gate may go by it."""
    game: GateGame | None = None
    reasons: tuple[Reason, ...] = ()
    """What the field itself has against anybody."""
    players: tuple[AtGate, ...] = ()
    """In order of armband."""


GATE_READS: Final[tuple[Read, ...]] = (
    Read(
        path="/parks/{park}/games/gate",
        summary="Everybody of today for one field's gate, cleared or with every reason why not. With `after` it waits up to ten seconds for something newer.",
        roles=GATE,
        answer=GateList,
        parameters=(
            Parameter(name="field", kind=FieldId, description="The field whose gate asks.", required=True),
            Parameter(name="after", kind=After, description="`<epoch>:<position>` of the list that is at hand."),
        ),
        problems=(*FROM_READ_TABLES, UnknownSubject),
    ),
    Read(
        path="/parks/{park}/games/gate-station",
        summary="The page for a field's gate. It asks for a staging device's key and the field, and answers without a network from its last list.",
        roles=None,
        media="text/html",
        problems=(NotFound, Broken),
    ),
    *(
        Read(
            path=f"/parks/{{park}}/games/gate-station/{name}",
            summary="A part of the gate's page.",
            roles=None,
            media=media,
            problems=(NotFound, Broken),
        )
        for name, media in PAGE.items()
    ),
)
