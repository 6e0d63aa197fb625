"""The one clock: whatever needs to know the time is given one of these."""

from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    def now(self) -> datetime:
        """The present moment, in UTC, to the microsecond."""
        ...


class SystemClock:
    def now(self) -> datetime:
        return datetime.now(UTC)


class SetClock:
    """A clock that stands still until it is moved."""

    def __init__(self, moment: datetime) -> None:
        self.set(moment)

    def now(self) -> datetime:
        return self._moment

    def set(self, moment: datetime) -> None:
        """Move to a moment, which must name its time zone."""
        if moment.tzinfo is None:
            raise ValueError("a clock is set to a moment with a time zone")
        self._moment = moment.astimezone(UTC)

    def advance(self, by: timedelta) -> None:
        self.set(self._moment + by)
