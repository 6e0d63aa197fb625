"""The chain of custody: who has a piece of evidence, from whom, since when, and where the chain is broken.

It stays as it was found, uncleaned. Only a manager releases it; until then each who hands it on is the one who had it. Common practice, no source.
"""

from collections.abc import Iterable

from msgspec import Struct

from services.incidents.entries import Handling, Place
from services.incidents.record import Release


class Step(Struct, frozen=True):
    """One step of a chain. `gap` says in words what does not fit what was recorded before; empty where it does."""

    handling: Handling
    gap: str = ""


def chain(piece: str, handlings: Iterable[Handling], release: Release | None = None) -> tuple[Step, ...]:
    """The steps of one piece in the order in which they happened, those from before its release too."""
    steps: list[Step] = []
    hands: str | None = None
    for one in sorted((one for one in handlings if one.piece == piece), key=lambda one: one.place):
        if hands is not None and _let_go(release, steps[-1].handling.place, one.place):
            hands = None
        steps.append(Step(one, _gap(one, hands)))
        hands = one.taker
    return tuple(steps)


def holder(piece: str, handlings: Iterable[Handling], release: Release | None = None) -> str | None:
    """Who has it now; None while nobody took it in, or since it was released."""
    steps = chain(piece, handlings, release)
    if not steps or released(release, steps[-1].handling.place):
        return None
    return steps[-1].handling.taker


def released(release: Release | None, since: Place | None) -> bool:
    """Whether a piece that was evidence since then has been let go."""
    if release is None or release.released is None:
        return False
    return since is None or release.released > since


def _let_go(release: Release | None, after: Place, before: Place) -> bool:
    return release is not None and release.released is not None and after < release.released < before


def _gap(one: Handling, hands: str | None) -> str:
    if one.giver is None:
        return "" if hands is None else f"{one.taker} took it in, though {hands} had it and passed it to nobody."
    if hands is None:
        return f"{one.giver} passed it on, though nobody recorded that he took it in."
    return "" if one.giver == hands else f"{one.giver} passed it on, though {hands} had it."
