"""In whose story, and under which rules, an event is told; and the phrases that many sentences share."""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from msgspec import Struct

from contracts.envelope import Data, Reason
from contracts.rules import DEFAULT, Rules

NAMED: Final = 6
"""More players than these are counted, not named."""
_EXPONENTS: Final = {
    **dict.fromkeys(
        [
            "BIF",
            "CLP",
            "DJF",
            "GNF",
            "ISK",
            "JPY",
            "KMF",
            "KRW",
            "PYG",
            "RWF",
            "UGX",
            "VND",
            "VUV",
            "XAF",
            "XOF",
            "XPF",
        ],
        0,
    ),
    **dict.fromkeys(["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"], 3),
}
"""Currencies whose minor unit is not a hundredth: ISO 4217, from memory."""


class Scene(Struct, frozen=True):
    """The tag whose story it is, and the rules in force."""

    about: str
    rules: Rules = DEFAULT

    @property
    def player(self) -> str | None:
        """The player whose own story it is."""
        kind, _, subject = self.about.partition(":")
        return subject if kind == "player" else None

    def clock(self, moment: datetime) -> str:
        """A moment by the park's own clock."""
        return f"{moment.astimezone(ZoneInfo(self.rules.time_zone)):%H:%M}"

    def money(self, minor: int) -> str:
        digits = _EXPONENTS.get(self.rules.money.currency, 2)
        return f"{minor / 10**digits:.{digits}f} {self.rules.money.currency}"

    def players(self, names: Sequence[str]) -> str:
        """In a player's own story he and the number of the others; elsewhere each by his id, or how many they are."""
        if self.player in names:
            others = len(names) - 1
            return f"player {self.player}" + (f" and {count(others, 'other')}" if others else "")
        return listed(names, "player")


Words = dict[type[Data], Callable[[Any, Scene], str]]


def count(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")


def listed(names: Sequence[str], noun: str) -> str:
    """`player p1`, `players p1 and p2`, `24 players`."""
    if not names or len(names) > NAMED:
        return count(len(names), noun)
    return f"{noun}{'' if len(names) == 1 else 's'} {together(names)}"


def together(names: Iterable[object]) -> str:
    """`a, b and c`."""
    *first, last = [str(name) for name in names] or ["nothing"]
    return f"{', '.join(first)} and {last}" if first else last


def begun(phrase: str) -> str:
    """A phrase at the head of a sentence."""
    return f"{phrase[:1].upper()}{phrase[1:]}"


def spoken(code: str) -> str:
    """A code of the contracts as words: `over_stop` is `over stop`."""
    return code.replace("_", " ").replace("-", " ")


def lasting(span: timedelta) -> str:
    """A span in words, to the minute; under two minutes to the second."""
    seconds = int(span.total_seconds())
    if seconds < 120:
        return count(seconds, "second")
    days, minutes = divmod(seconds // 60, 24 * 60)
    hours, minutes = divmod(minutes, 60)
    parts = [count(number, noun) for number, noun in ((days, "day"), (hours, "hour"), (minutes, "minute")) if number]
    return together(parts)


def because(told: str, reasons: Iterable[Reason]) -> str:
    """A sentence with the reasons after it, as they were put to the player."""
    quoted = " ".join(f"\N{LEFT DOUBLE QUOTATION MARK}{one.sentence}\N{RIGHT DOUBLE QUOTATION MARK}" for one in reasons)
    return f"{told}: {quoted}" if quoted else f"{told}."


def on_field(field: str | None) -> str:
    return f" on field {field}" if field else ""


def in_game(game: str | None) -> str:
    return f" in game {game}" if game else ""
