"""What two teams come to: each attribute with both teams' sums; and what a referee changed of the teams that were proposed."""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from contracts.words import Colour, PlayerId

Attribute = Annotated[
    Literal["players", "years", "first_timers", "own_markers", "results"],
    Meta(
        description=(
            "What is summed over a team: its heads; its age bands in years; who is here for the first time; who brought a marker; "
            "and what the day's results say of each player's skill, in hundredths of its standard deviation."
        )
    ),
]


class TeamSum(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    colour: Colour
    total: int


class Weighed(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One attribute: both teams' sums, how far they lie apart, and how many points that difference weighs under the park rules."""

    attribute: Attribute
    sums: tuple[TeamSum, ...]
    difference: int
    points: int


class Overruled(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One player whom the referee put elsewhere than was proposed; without a colour he was not on that list."""

    player: PlayerId
    proposed: Colour | None
    called: Colour | None
