"""The answers of the gate and of the screens beside it."""

from typing import Annotated

from msgspec import Meta, Struct

from contracts.envelope import Basis, Reason
from contracts.words import Part, Role

GATE: frozenset[Role] = frozenset(
    {"desk", "gear", "chrono", "staging", "referee", "head_referee", "first_aider", "manager", "auditor"}
)
"""Who may ask."""
Names = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}(,[A-Za-z0-9][A-Za-z0-9._-]{0,63}){0,99}$",
        examples=["player-014,player-015"],
        description="Up to 100 players, with commas between them.",
    ),
]


class FoundPlayer(Struct, frozen=True, kw_only=True):
    """Whom a day pass or an armband names today. `replaced`: the pass that was shown is not his newest."""

    player: str
    armband: int
    day_pass: str
    group: str | None
    part: Part
    replaced: bool


class Clearance(Struct, frozen=True, kw_only=True):
    """Whether a player may enter a field now, with every reason why not. The gate still looks: mask on, barrel covered, sober."""

    player: str
    field: str
    cleared: bool
    reasons: tuple[Reason, ...]
    basis: Basis


class Clearances(Struct, frozen=True, kw_only=True):
    """The same of several players, from the read tables as of a position of the log. Nobody is admitted on it."""

    epoch: int
    position: int
    players: tuple[Clearance, ...]
