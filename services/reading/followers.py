"""Who reads along in one process, each under the key that he came with. Whoever's key is revoked or replaced is told nothing more.

All keys are looked up at once, on a clock of their own: pages come the seldomer the more are reading, and a revocation must not wait for one.
"""

import asyncio
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Final
from weakref import WeakSet

from contracts.problems import TooManyStreams
from services.core.auth import KEPT_SECONDS
from services.core.pool import LOST, Pool

HOLDS: Final = 1.0
"""Seconds for which a look at the keys is good. No line leaves on an older one, however busy the process is: so a revocation holds within them."""
EVERY: Final = 0.25
"""Seconds between two looks."""
AGAIN: Final = 5
"""Seconds after which whoever has too many streams may try again."""
_KEYS: Final = "SELECT id, secret_hash FROM log.device WHERE park = $1 AND id = ANY ($2) AND revoked_at IS NULL"


class Follower:
    """One reader. Made as soon as the key is known to be good, which has been looked up half a second ago at most."""

    __slots__ = ("__weakref__", "device", "gone", "key", "until")

    def __init__(self, device: str, key: bytes) -> None:
        self.device = device
        self.key = key
        """The hash of the secret that it came with, which may be another's by now."""
        self.gone = False
        """Its key is good no more, or the process ends."""
        self.until = time.monotonic() + HOLDS - KEPT_SECONDS

    @property
    def known(self) -> bool:
        """Whether its key is known to be good now."""
        return not self.gone and time.monotonic() < self.until


class Followers:
    """Of one park. Costs nothing while nobody follows."""

    def __init__(self, pool: Pool, park: str, tell: Callable[[], None], most: int) -> None:
        """`tell` wakes whoever waits for something new; `most` streams may be open under one key."""
        self._pool = pool
        self._park = park
        self._tell = tell
        self._most = most
        self._streams: WeakSet[Follower] = WeakSet()
        """Whoever is gone before his stream has begun is in nobody's hands, and counts no more."""
        self._here: set[Follower] = set()
        self._somebody = asyncio.Event()
        self._looked = asyncio.Event()
        self._closed = False

    def admit(self, reader: Follower) -> None:
        """Count one more stream until its `following` ends, or it never begins. Raises TooManyStreams.

        There is no limit for all keys together: it is the manager who gives keys, and a limit that all share would let one shut out the others.
        """
        if sum(one.key == reader.key for one in self._streams) >= self._most:
            raise TooManyStreams(
                f"This key has {self._most} streams of events open, and may have no more. Close one, or read with fewer, and try again shortly.",
                retry_after=AGAIN,
            )
        self._streams.add(reader)

    @contextmanager
    def following(self, reader: Follower) -> Iterator[None]:
        """One more for the block."""
        reader.gone = reader.gone or self._closed
        self._here.add(reader)
        self._somebody.set()
        try:
            yield
        finally:
            self._here.discard(reader)
            self._streams.discard(reader)
            if not self._here:
                self._somebody.clear()

    async def may_hear(self, reader: Follower) -> bool:
        """Whether this one may be told something now; waits while nobody can say."""
        while not reader.gone and not reader.known:
            await self._looked.wait()
        return not reader.gone

    async def run(self) -> None:
        """Look at the keys for ever, whenever somebody follows. While the database is away nobody is told anything."""
        while True:
            await self._somebody.wait()
            with suppress(*LOST):
                await self.look()
            await asyncio.sleep(EVERY)

    async def look(self) -> None:
        """Hold every reader's key against those that are good now."""
        async with self._pool.connection() as connection:  # which may be lent late
            asked_at, readers = time.monotonic(), list(self._here)
            rows = await connection.fetch(_KEYS, self._park, list({reader.device for reader in readers}))
        good = {str(name): bytes(secret) for name, secret in rows}
        waiting = not all(reader.known for reader in readers)
        for reader in readers:
            reader.gone = reader.gone or good.get(reader.device) != reader.key
            reader.until = asked_at + HOLDS
        if waiting or any(reader.gone for reader in readers):
            self._wake()

    def close(self) -> None:
        """The process ends: every reader's stream does, and it asks for another."""
        self._closed = True
        for reader in self._here:
            reader.gone = True
        self._wake()

    def _wake(self) -> None:
        looked, self._looked = self._looked, asyncio.Event()
        looked.set()
        self._tell()
