"""Lines: the plain text in which an instrument sends what it shows. One reading a line, in UTF-8; the form is ours.

    281.4 fps
    85.8 m/s                                        ft/s is written fps or ft/s
    2026-05-09T10:00:03.120+01:00 279.9 fps         when it was shot, with its offset; the time of receipt where it is absent
    -- beam lost                                    nothing was read: no shot, double trigger, beam lost, or impossible
    301 fps -- double trigger                       something was read that the instrument, or the person at it, says is no reading
    278 fps # second battery                        what follows a # is a remark, and is not kept

An empty line counts too: whoever sends part of a text again leaves the other lines empty, so that each keeps its number and with it its id.
"""

import re
from collections.abc import Iterator
from datetime import datetime
from typing import Final, get_args

from msgspec import Struct

from contracts.velocity import MisreadKind, TakeReading
from services.velocity.metrology.units import fps_from_mps

FASTEST_FPS: Final = 2000.0
"""Nothing faster is taken for a speed at all; what cannot be true by the park's rules is recorded as such."""
LONGEST: Final = 200
"""Characters in a line."""
_LINE: Final = re.compile(
    r"(?:(?P<at>\d{4}-\d\d-\d\d[Tt]\S+)\s+)?(?:(?P<speed>\d{1,5}(?:\.\d{1,6})?)\s*(?P<unit>fps|ft/s|m/s))?\s*(?:--\s*(?P<misread>[a-z ]+))?",
    re.ASCII | re.IGNORECASE,
)
_KINDS: Final[dict[str, MisreadKind]] = {kind.replace("_", " "): kind for kind in get_args(get_args(MisreadKind)[0])}
_HOW: Final = "Send such as `281.4 fps`, `85.8 m/s` or `-- beam lost`."


class Line(Struct, frozen=True):
    """One line: what it says, or why it says nothing that can be recorded; neither where it is a remark or empty."""

    number: int
    text: str
    reading: TakeReading | None = None
    why: str = ""


def split(text: str) -> list[str]:
    """The lines of a text, each ended by LF, CR LF or CR and by nothing else: a stray byte must not cut a fast reading into a slow one."""
    found = re.split(r"\r\n|\n|\r", text)
    return found if found[-1] else found[:-1]


def lines(text: str, chrono: str) -> Iterator[Line]:
    """Every line of a text, numbered from 1."""
    for number, line in enumerate(split(text), 1):
        yield _line(number, line.partition("#")[0].strip(), chrono)


def _line(number: int, said: str, chrono: str) -> Line:
    if not said:
        return Line(number, said)
    found = _LINE.fullmatch(said) if len(said) <= LONGEST else None
    if found is None or (found["speed"] is None and found["misread"] is None):
        return Line(number, said, why=f"This is no reading. {_HOW}")
    at = _instant(found["at"]) if found["at"] else None
    if found["at"] and at is None:
        return Line(
            number,
            said,
            why="The time is none, or names no offset. Send such as 2026-05-09T10:00:03+01:00, or leave it out.",
        )
    kind = _KINDS.get(" ".join((found["misread"] or "").lower().split()))
    if found["misread"] and kind is None:
        return Line(number, said, why=f"What is wrong with a reading is one of: {', '.join(_KINDS)}.")
    speed = float(found["speed"]) if found["speed"] else None
    if speed is not None and found["unit"].lower() == "m/s":
        speed = fps_from_mps(speed)
    if speed is not None and speed > FASTEST_FPS:
        return Line(
            number,
            said,
            why=f"No shot is faster than {FASTEST_FPS:g} fps. Send what the chronograph showed, or `-- impossible`.",
        )
    return Line(number, said, TakeReading(chrono=chrono, speed_fps=speed, misread=kind, occurred_at=at))


def _instant(text: str) -> datetime | None:
    try:
        found = datetime.fromisoformat(text.upper())
    except ValueError:
        return None
    return found if found.tzinfo is not None else None
