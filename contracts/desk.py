"""What the desk reads besides players: the park's pass keys, passes to print, and its own page."""

from typing import Annotated, Final

from msgspec import Meta

from contracts.clearance import Names
from contracts.passes import PassKeys
from contracts.problems import Broken, NotFound, NotInThatState, RuleForbids, Unavailable, UnknownSubject
from contracts.read import BEHIND_A_KEY, Parameter, Read
from contracts.registration import DESK
from contracts.words import PlayerId

SVG, HTML = "image/svg+xml", "text/html"
PAGE: Final[dict[str, str]] = {"sheet.css": "text/css"}
"""The files beside the page itself, and what they are."""
PrintedPlayers = Annotated[
    Names, Meta(description="Up to 100 players, in the order in which their passes are printed.")
]

DESK_READS: tuple[Read, ...] = (
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
