"""The answer of the gate."""

from msgspec import Struct

from contracts.envelope import Basis, Reason


class Clearance(Struct, frozen=True, kw_only=True):
    """Whether a player may enter a field now, with every reason why not. The gate still looks: mask on, barrel covered, sober."""

    player: str
    field: str
    cleared: bool
    reasons: tuple[Reason, ...]
    basis: Basis
