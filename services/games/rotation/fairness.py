"""Fair waiting: nobody gets two games ahead of another who could have had his place.

It follows that no group waits twice while another plays three times: whichever of the other's games one counts from, the one who waits has at most one less.
"""

from collections.abc import Iterable

from services.games.rotation.units import A_MOMENT, Unit


def too_far_ahead(playing: Unit, left_out: Unit) -> bool:
    """Whether one more game would put the one two games ahead of the other, counted from any of its games since which the other was ready too."""
    for back, since in enumerate(reversed(playing.starts), start=1):
        had = sum(start >= since - A_MOMENT for start in left_out.starts)
        if left_out.arrived <= since + A_MOMENT and back + 1 - had > 1:
            return True
    return False


def barred(seated: Iterable[Unit], left_out: Iterable[Unit]) -> list[Unit]:
    """Who of them must wait, so that whoever is left out comes first."""
    waiting = list(left_out)
    return [unit for unit in seated if unit.starts and any(too_far_ahead(unit, other) for other in waiting)]
