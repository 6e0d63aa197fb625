"""The waits in words: what a line means for who joins it, and what would help."""

from typing import Final

from contracts.board import Range, StationName
from contracts.rules import WaitRules
from services.board.waits.ranges import between, minutes

SERVER: Final[dict[StationName, str]] = {
    "desk": "place at the desk",
    "briefing": "briefing beside it",
    "gear counter": "place at the gear counter",
    "chronograph": "bench at the chronograph",
}
ORDINALS: Final = ("first", "second", "third", "fourth", "fifth", "sixth")


def telling(station: StationName, waiting: int, wait: Range | None, come: float, pace: float) -> str:
    """How long who joins now waits, and whether more come in a minute than are served."""
    if wait is None:
        return (
            f"Nobody has served at the {station} of late: {waiting} wait."
            if waiting
            else f"Nobody waits at the {station}."
        )
    told = "Nobody waits: it is your turn." if not waiting else f"Who joins now waits {between(wait)}."
    if come >= pace and waiting:
        told += (
            f" More come ({come:.1f} a minute) than are served ({pace:.1f}): the line grows for as long as that lasts."
        )
    return told


def helping(station: StationName, servers: int, now: float | None, with_more: float, rules: WaitRules) -> str | None:
    """What one more server would do to the wait of who joins now; None where that is not worth it."""
    ordinal = ORDINALS[servers] if servers < len(ORDINALS) else "further"
    if now is None:
        return None
    if now - with_more < rules.worth_minutes:
        return None
    short = f"about {round(with_more)} {minutes(round(with_more))}" if with_more >= 0.5 else "less than a minute"
    return f"A {ordinal} {SERVER[station]} would cut the wait from about {round(now)} to {short}."
