"""Fair waiting: nobody gets two games ahead of another who could have had his place.

It follows that no group waits twice while another plays three times: whichever of the other's games one counts from, the one who waits has at most one less.
"""

from bisect import bisect_left
from collections.abc import Sequence

from services.games.rotation.units import A_MOMENT, Unit


def come_first(there: Sequence[Unit]) -> dict[int, frozenset[int]]:
    """For each of them by its `id`: who must play in the same game, or it waits. Whoever started together has the same before them."""
    of: dict[tuple[float, ...], frozenset[int]] = {(): frozenset()}
    for unit in there:
        if unit.starts not in of:
            of[unit.starts] = frozenset(id(other) for other in there if too_far_ahead(unit.starts, other))
    return {id(unit): of[unit.starts] for unit in there}


def too_far_ahead(starts: Sequence[float], left_out: Unit) -> bool:
    """Whether one more game after these would be the second that the other does not have, counted from any of them since which it was ready too."""
    for games, since in enumerate(reversed(starts), start=1):
        if left_out.arrived > since + A_MOMENT:
            return False
        had = len(left_out.starts) - bisect_left(left_out.starts, since - A_MOMENT)
        if games + 1 - had > 1:
            return True
    return False
