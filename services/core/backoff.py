"""How long to wait before trying again."""

import random


class Backoff:
    """Waits that double from `first` to `longest` seconds, each shortened at random by up to a half."""

    def __init__(self, first: float = 0.1, longest: float = 5.0) -> None:
        self._first = first
        self._longest = longest
        self._next = first

    def failed(self) -> float:
        """Seconds to wait after one more failure in a row."""
        wait, self._next = self._next, min(self._next * 2, self._longest)
        return wait * random.uniform(0.5, 1.0)  # noqa: S311 - jitter, not a secret

    def failed_before(self, failures: int) -> None:
        """Go on as after so many failures in a row, whoever had them: a process that begins anew is no more patient for it."""
        self._next = min(self._first * 2 ** min(failures, 30), self._longest)

    def succeeded(self) -> None:
        self._next = self._first
