"""Who stands at staging, for the person who calls the games: who is ready, who is not and why, and where each thing is cleared.

By armband numbers and opaque ids: it names nobody. Nobody is admitted on it; at the start everybody's clearance is asked again.
"""

from datetime import date, datetime
from typing import Final

from msgspec import Struct

from contracts.envelope import Reason
from contracts.games import FIELD_AND_STAGING
from contracts.problems import Broken, NotFound
from contracts.read import AT_LEAST, FROM_READ_TABLES, Read

STAGING_PAGE: Final[dict[str, str]] = {
    "staging.css": "text/css",
    "staging.js": "text/javascript",
    "people.js": "text/javascript",
    "teams.js": "text/javascript",
}
"""The files of the staging screen, and what they are."""


class AtStaging(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One player who is in the park and on no field.

    `field`: the one that he was judged for: the one that he is called to or plays on in his rotation, else the one that has least against him.
    """

    player: str
    armband: int
    group: str | None = None
    rotation: str | None = None
    """The rotation that he plays in: his sit-outs bind to its games."""
    cleared: bool = False
    field: str | None = None
    called: str | None = None
    """The field of the waiting game that he is on the list of."""
    reasons: tuple[Reason, ...] = ()
    """Every reason why he is not cleared for that field, each with where it is cleared."""
    minor: bool = False


class Staging(Struct, frozen=True, kw_only=True):
    """Everybody who could play next, in order of armband, as of a position of the log."""

    park: str
    day: date
    as_of: datetime
    epoch: int
    position: int
    players: tuple[AtStaging, ...]


STAGING_READS: Final[tuple[Read, ...]] = (
    Read(
        path="/parks/{park}/games/at-staging",
        summary="Who is in the park and on no field: who is cleared, and for each of the others every reason why not and where it is cleared.",
        roles=FIELD_AND_STAGING,
        answer=Staging,
        parameters=(AT_LEAST,),
        problems=FROM_READ_TABLES,
    ),
    Read(
        path="/parks/{park}/games/staging",
        summary="The page for the person at staging. It asks for the key of a staging device.",
        roles=None,
        media="text/html",
        problems=(NotFound, Broken),
    ),
    *(
        Read(
            path=f"/parks/{{park}}/games/staging/{name}",
            summary="A part of the staging screen.",
            roles=None,
            media=media,
            problems=(NotFound, Broken),
        )
        for name, media in STAGING_PAGE.items()
    ),
)
