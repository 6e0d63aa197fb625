"""Wrong keys and codes: each wrong one is answered later than the one before, and after ten in a minute the next is refused at once.

They are counted per address that they come from, and per device that they name. Who bears the right key is held up by nobody else's
wrong ones: only where ten were tried from the same address for the very same device it waits too, unless it was right there before.
"""

import asyncio
import time
from collections import deque
from typing import Final

from contracts.problems import TooManyTries

WINDOW: Final = 60.0
"""Seconds."""
MOST: Final = 10
SLOWEST: Final = 2.0
"""Seconds."""
_FIRST: Final = 0.05
_REMEMBERED: Final = 10_000
Whom = tuple[str, ...]
"""Whose tries are counted together: an address, a device, or an address at a device."""


class Tries:
    """The wrong tries of the last minute, in this process."""

    def __init__(self) -> None:
        self._wrong: dict[Whom, deque[float]] = {}
        self._right: dict[Whom, bytes] = {}
        """With which key each was last right."""

    def right(self, whom: Whom, key: bytes) -> None:
        """Whoever bears the right key is known by it from now on. `key`: its hash."""
        if len(self._right) >= _REMEMBERED:
            self._right.clear()
        self._right[whom] = key

    def knows(self, whom: Whom, key: bytes) -> bool:
        """Whether this very key was right before: then others' wrong ones, from behind the same router or proxy, do not hold it up."""
        return self._right.get(whom) == key

    def must_not_wait(self, *whom: Whom) -> None:
        """Raises TooManyTries while any of these has used up its tries."""
        waits = [wait for one in whom if (wait := self._wait(one)) > 0]
        if waits:
            seconds = max(1, round(max(waits) + 0.5))
            raise TooManyTries(
                f"There were {MOST} wrong keys or codes within a minute, from here or for this device. Check the key or code, and wait {seconds} s.",
                retry_after=seconds,
            )

    async def wrong(self, *whom: Whom) -> None:
        """Count one more, and hold up its answer: the longer, the more came before. Raises TooManyTries at once where there were too many."""
        self.must_not_wait(*whom)
        now = time.monotonic()
        self._tidy()
        for one in whom:
            self._wrong.setdefault(one, deque(maxlen=MOST)).append(now)
        most = max(len(self._wrong[one]) for one in whom)
        await asyncio.sleep(min(SLOWEST, _FIRST * 2 ** (most - 1)))

    def forget(self) -> None:
        """Begin anew, as a process does that is started again."""
        self._wrong.clear()
        self._right.clear()

    def _wait(self, whom: Whom) -> float:
        """Seconds until the oldest of the last ten is a minute ago; 0 or less: it may try."""
        tries = self._wrong.get(whom)
        return 0.0 if tries is None or len(tries) < MOST else tries[0] + WINDOW - time.monotonic()

    def _tidy(self) -> None:
        """Whoever makes up names and addresses fills no memory: what is over goes, and in need the oldest."""
        if len(self._wrong) < _REMEMBERED:
            return
        began = time.monotonic() - WINDOW
        kept = {one: tries for one, tries in self._wrong.items() if tries[-1] > began}
        self._wrong = dict(sorted(kept.items(), key=lambda entry: entry[1][-1])[-_REMEMBERED // 2 :])
