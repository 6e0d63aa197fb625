"""A device's clock, how far the park's is ahead of it, and the ids that are made by it."""

from datetime import UTC, datetime, timedelta
from typing import Final, Protocol
from uuid import UUID

BEST_FOR: Final = timedelta(seconds=30)
"""So long the answer that was under way for the shortest time says best what the park's clock is; after that any newer one does."""


class Clock(Protocol):
    """Anything that says what time it is, with an offset from UTC."""

    def now(self) -> datetime: ...


class Bits(Protocol):
    """Anything that makes random bits, such as `random.SystemRandom`."""

    def getrandbits(self, k: int, /) -> int: ...


class SystemClock:
    def now(self) -> datetime:
        return datetime.now(UTC)


class Offset:
    """The park's clock less the device's, by the answers of the park: of a question and its answer, the middle (Cristian, 1989)."""

    def __init__(self) -> None:
        self.ahead = timedelta()
        self.within: timedelta | None = None
        """How far off `ahead` may be: half the time that the answer was under way; None before the first answer."""
        self._heard: datetime | None = None

    def heard(self, asked: datetime, answered: datetime, told: datetime) -> None:
        """An answer that was under way between two moments of the device's clock said what the park's clock was."""
        half = (answered - asked) / 2
        if half < timedelta():
            return  # the device's clock was set meanwhile
        fresh = self._heard is not None and timedelta() <= answered - self._heard < BEST_FOR
        if fresh and self.within is not None and half > self.within:
            return
        self.ahead, self.within, self._heard = told - (asked + half), half, answered


def uuid7(clock: Clock, random: Bits) -> UUID:
    """A UUID whose order is that of the milliseconds in which it was made (RFC 9562 §5.7); those before 1970 have the first of them all."""
    millis = max(0, int(clock.now().timestamp() * 1000))
    bits = random.getrandbits(74)
    return UUID(int=millis << 80 | 7 << 76 | (bits >> 62) << 64 | 2 << 62 | bits & (1 << 62) - 1)
