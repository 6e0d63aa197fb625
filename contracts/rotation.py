"""The rotation's plan on the wire: which groups play on which field and when; and what staging changed of the plan that was shown."""

from datetime import date, datetime
from typing import Annotated

from msgspec import Meta, Struct

PartyTag = Annotated[
    str,
    Meta(
        pattern=r"^(group|player):[A-Za-z0-9][A-Za-z0-9._-]{0,63}$(?!\n)",
        description="A group, or a player who came alone. A plan changes nothing of them, so it is no part of their story.",
    ),
]
PlanField = Annotated[
    str, Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$(?!\n)", description="A field, as the plan names it.")
]
PlanGame = Annotated[
    str, Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$(?!\n)", description="A game, as the plan names it.")
]
PlanDay = Annotated[date, Meta(extra={"tag": "plan"}, description="The operating day that a plan is for.")]
SessionDay = Annotated[
    date, Meta(extra={"tag": "sessions"}, description="The operating day that a private session is on.")
]
PlannedAt = Annotated[datetime, Meta(tz=True, description="RFC 3339 date-time with an offset.")]


class PlannedParty(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A party in a game of the plan, with how many players. `part` counts from 1 where no field takes the party whole."""

    party: PartyTag
    players: Annotated[int, Meta(ge=1, le=400)]
    part: Annotated[int, Meta(ge=0, le=100)] = 0


class PlannedGame(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One game of the plan. `private`: its party has the field for itself. `fixed`: staging put it together, so a new plan keeps it while it can."""

    field: PlanField
    start: PlannedAt
    minutes: Annotated[float, Meta(ge=1, le=720)]
    parties: Annotated[tuple[PlannedParty, ...], Meta(min_length=1, max_length=400)]
    private: bool = False
    fixed: bool = False


class LatestGame(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The game of a field that was called last when the plan was made: the plan's games come after it."""

    field: PlanField
    game: PlanGame


class Turn(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    field: PlanField
    start: PlannedAt


class Replanned(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One party whom staging put elsewhere than was proposed: out of a game, into a game, or both."""

    party: PartyTag
    part: int
    proposed: Turn | None
    published: Turn | None


Games = Annotated[tuple[PlannedGame, ...], Meta(max_length=1000)]
