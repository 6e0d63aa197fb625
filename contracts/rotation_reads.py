"""The rotation as it is asked for: the plan as of now, what it changes of the one that was published, and why who waits has no game in it."""

from datetime import date, datetime
from typing import Literal

from msgspec import Struct

from contracts.games import STAGING
from contracts.read import FROM_READ_TABLES, Read
from contracts.rotation import Games, LatestGame

WhyNot = Literal["not_ready", "in_private", "no_field", "too_few", "no_place"]


class PartyWaits(Struct, frozen=True, kw_only=True):
    """A party without a game in the plan, with how many who may play today, and why."""

    party: str
    players: int
    code: WhyNot
    sentence: str


class PartySplit(Struct, frozen=True, kw_only=True):
    """A party that no field takes whole, in how many parts it plays, and why."""

    party: str
    parts: int
    sentence: str


class FieldShut(Struct, frozen=True, kw_only=True):
    """A field that has no game in the plan, since nobody knows when it opens, and every reason."""

    field: str
    codes: tuple[str, ...]
    sentence: str


class RotationPlan(Struct, frozen=True, kw_only=True):
    """Who plays where and when, as of now. Only a proposal: nobody is bound to it, and clearance is asked again at each start.

    It goes to `games/publish-rotation` as it is: `position`, `after` and, as `proposed`, `games`.
    """

    park: str
    day: date
    as_of: datetime
    epoch: int
    position: int
    until: datetime
    """What starts later is not planned yet."""
    published: str | None
    """The plan that was published last, which this one keeps as far as it still holds."""
    after: tuple[LatestGame, ...]
    games: Games
    moved: tuple[str, ...]
    """Parties that the published plan has in a game, still to come, that they are not in any more."""
    waiting: tuple[PartyWaits, ...]
    shut: tuple[FieldShut, ...]
    split: tuple[PartySplit, ...]


ROTATION_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/games/rotation",
        summary="Who plays where and when in the next hours, over all fields; it keeps the published plan as far as that still holds. A proposal: it writes nothing.",
        roles=STAGING,
        answer=RotationPlan,
        problems=FROM_READ_TABLES,
    ),
)
