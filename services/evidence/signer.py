"""The signer: has a checkpoint signed at an interval when the log has grown, at closing time, and whenever somebody asks."""

import asyncio
import time
from datetime import datetime
from typing import Literal

import structlog
from prometheus_client import Gauge

from services.core.backoff import Backoff
from services.core.park import Park
from services.core.pool import LOST, Pool
from services.evidence.keyring import Signed
from services.evidence.outside import OutsideUnusable
from services.evidence.rounds import NotSigned, Rounds

State = Literal["waiting", "signed", "refused", "database down"]
EVERY = 60.0
"""Seconds between two checkpoints, while the log grows."""
COVERED = Gauge("fieldledger_evidence_covered", "Events under the newest checkpoint", ["park"])
REFUSED = Gauge(
    "fieldledger_evidence_refused", "1 while no checkpoint is signed because the log does not continue", ["park"]
)
_LOOK_EVERY = 0.5
_LOOK = """
SELECT position, EXISTS (
    SELECT FROM log.event_tag WHERE park = $1 AND tag = 'park' AND position > $2 AND type = 'park.day_closed'
) FROM log.park_head WHERE park = $1
"""
_logger = structlog.get_logger()


class Signer:
    """Signs for one park in one process; others may do so at the same time."""

    def __init__(self, park: Park, pool: Pool, rounds: Rounds, every: float = EVERY) -> None:
        self._park = park.park
        self._pool = pool
        self._rounds = rounds
        self._every = every
        self._next = time.monotonic() + every
        self._turn = asyncio.Lock()
        self.signed = asyncio.Event()
        """Set after each round that has signed; whoever waits for it clears it."""
        self.state: State = "waiting"
        self.why = ""
        self.size = 0
        self.signed_at: datetime | None = None
        REFUSED.labels(self._park).set(0)

    async def run(self) -> None:
        """Sign whenever it is due. Ends only when cancelled."""
        backoff = Backoff()
        while True:
            wait = _LOOK_EVERY
            try:
                if await self._due():
                    await self.sign()
                backoff.succeeded()
            except (NotSigned, OutsideUnusable):
                wait = min(self._every, 5.0)
            except LOST as error:
                self._enter("database down", repr(error))
                wait = backoff.failed()
            await asyncio.sleep(wait)

    async def _due(self) -> bool:
        """Whether the log is not what was last signed, and the interval is over or the day was closed since."""
        async with self._pool.connection() as connection:
            position, closed = await connection.fetchrow(_LOOK, self._park, self.size)
        over = time.monotonic() >= self._next
        if over:
            self._next = time.monotonic() + self._every
        return position != self.size and (over or closed)

    async def sign(self, *, new_key: bool = False) -> Signed:
        """Sign now: the newest checkpoint, which is the last one again where nothing was recorded since.

        `new_key`: with a key that is adopted for it, and by the one it replaces. Raises NotSigned, OutsideUnusable.
        """
        async with self._turn:
            try:
                signed = await self._rounds.sign(new_key=new_key)
            except (NotSigned, OutsideUnusable) as error:
                self._enter("refused", str(error))
                raise
            self.size, self.signed_at = signed.checkpoint.size, signed.checkpoint.signed_at
            self._next = time.monotonic() + self._every
            self._enter("signed")
            COVERED.labels(self._park).set(self.size)
            self.signed.set()
            return signed

    async def make_again(self) -> None:
        """Have the stored tree, of which some is missing, made again from the log; soon, not at once."""
        await self._rounds.forget()
        self.size, self._next = 0, time.monotonic()

    def _enter(self, state: State, why: str = "") -> None:
        if (state, why) != (self.state, self.why):
            (_logger.error if state == "refused" else _logger.info)("evidence", park=self._park, state=state, why=why)
        self.state, self.why = state, why
        REFUSED.labels(self._park).set(state == "refused")
