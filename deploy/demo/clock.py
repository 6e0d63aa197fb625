"""A clock that is moved through the invented day, and runs on by itself afterwards."""

from datetime import UTC, datetime, timedelta


class RunningClock:
    """Stands at `moment` until `run` is called; from then on it runs with real time. It starts as real time."""

    def __init__(self, moment: datetime | None = None) -> None:
        self._stands: datetime | None = moment
        self._ahead = timedelta()

    def now(self) -> datetime:
        return self._stands if self._stands is not None else datetime.now(UTC) + self._ahead

    def set(self, moment: datetime) -> None:
        """Stand at a moment; time is never turned back."""
        self._stands = max(moment, self._stands or moment)

    def advance(self, by: timedelta) -> None:
        self.set(self.now() + by)

    def run(self) -> None:
        """Run on from where it stands."""
        if self._stands is not None:
            self._ahead = self._stands - datetime.now(UTC)
            self._stands = None

    def not_before(self, moment: datetime) -> None:
        """Never run behind a moment, such as the last one in the log."""
        self._ahead = max(self._ahead, moment - datetime.now(UTC))
