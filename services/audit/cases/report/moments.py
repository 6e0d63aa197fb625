"""Times and numbers as a reader expects them."""

from datetime import datetime
from zoneinfo import ZoneInfo

NOT_RECORDED = "not recorded"


def local(moment: datetime, zone: str) -> str:
    """A moment by the park's own clock, with its offset: 2026-05-09 14:03:22 +01:00."""
    at = moment.astimezone(ZoneInfo(zone))
    return f"{at:%Y-%m-%d %H:%M:%S} {at.isoformat()[-6:]}"


def counted(number: int, one: str, many: str = "") -> str:
    """`1 game`, `2 games`."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(words: tuple[str, ...] | list[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def plainly(word: str) -> str:
    """A word of the wire in prose: `mask_off` is `mask off`."""
    return word.replace("_", " ").replace("-", " ")


def titled(kind: str, subject: str) -> str:
    """`player p017`; a subject whose id names its kind already is not told so twice."""
    return subject if subject.startswith(kind) else f"{plainly(kind)} {subject}".strip()
