"""One park's board in one process: follows the projections, makes the status, and hands it to the readers."""

import asyncio
import time
from contextlib import suppress
from typing import Any, Final

import structlog

from contracts.board import Beat, Status
from contracts.roll_call import RollCall
from contracts.staging import Staging
from contracts.waits import Waits
from services.board.at_hand import AtHand
from services.board.fanout import BEAT_SECONDS, Channel, frame
from services.board.memory import Memory
from services.board.model import status
from services.board.notes import NOTES
from services.board.roll_call import roll_call
from services.board.staging import at_staging
from services.board.waits.model import on_the_wall, waits
from services.clearance.api import PROJECTION as CLEARANCE
from services.core.backoff import Backoff
from services.core.park import Park
from services.core.pool import LOST, Pool
from services.core.projection import Change
from services.core.projector import Projector
from services.core.reads import PATIENCE

PACE: Final = 0.2
"""Seconds between two messages to a reader."""
REJUDGED: Final = 20.0
"""Seconds after which everybody is judged anew, for what time alone has changed."""
PASS: Final = 250
"""Players judged anew before the next message: the rest follows in the ones after it."""
LASTS: Final = 1.0
"""Seconds that a status serves again while nothing is told."""
FORETOLD: Final = 5.0
"""Seconds that the waits on the wall serve again."""
_UNREAD: Final = b": the record cannot be read\n\n"
_logger = structlog.get_logger()


class Board:
    """A reader hears a beat only while the log can be read and all that it held some seconds ago is on the board."""

    def __init__(self, park: Park, pool: Pool, projector: Projector) -> None:
        self.channel = Channel()
        self.why: str | None = None
        self._park = park
        self._pool = pool
        self._memory: Memory | None = None
        self._status: Status | None = None
        self._at_hand: AtHand | None = None
        self._waits: Waits | None = None
        self._made = self._judged = self._foretold = 0.0
        self._head: int | None = None
        self._checked = self._fresh = float("-inf")
        self._alone = asyncio.Lock()
        self._stirred = asyncio.Event()
        for name in (CLEARANCE.name, NOTES.name):
            projector.listen(name, self._hear)

    def _hear(self, change: Change[Any]) -> None:
        if self._memory is None or self._memory.hear(change):
            self._stirred.set()

    async def reached(self, position: int) -> Status:
        """The status as of now and at least a position that every projection has reached. TimeoutError after a while."""
        made = await self.current()
        async with asyncio.timeout(PATIENCE):
            while position and (made.position < position or self._unfinished):
                await asyncio.sleep(0.01)
                made = await self.current()
        return made

    async def seen(self, position: int) -> AtHand:
        """What is at hand as of now and at least a position, everybody judged. TimeoutError after a while."""
        await self.reached(position)
        async with asyncio.timeout(PATIENCE):
            while self._at_hand is None or self._memory is None or self._memory.unread:
                await asyncio.sleep(0.01)
                await self.current()
        return self._at_hand

    async def at_staging(self, position: int) -> Staging:
        """Who could play next, as of now and at least a position. TimeoutError after a while."""
        at_hand = await self.seen(position)
        return at_staging(at_hand, self._park.park, self._memory.epoch if self._memory else 1)

    async def roll_call(self) -> RollCall:
        """Everybody's whereabouts as of now. TimeoutError where somebody who came cannot be read in a while."""
        made = await self.current()
        async with asyncio.timeout(PATIENCE):
            while self._at_hand is None or self._memory is None or self._memory.unread:
                await asyncio.sleep(0.01)
                made = await self.current()
        return roll_call(self._at_hand, self._park.park, made.epoch)

    async def waits(self, position: int) -> Waits:
        """How long one waits, as of now and at least a position. TimeoutError after a while."""
        at_hand = await self.seen(position)
        async with self._alone:
            return await self._foretell(at_hand, LASTS)

    async def _foretell(self, at_hand: AtHand, lasts: float) -> Waits:
        """Beside the loop, so that no hold waits for it; nothing at hand changes meanwhile."""
        before, position = self._waits, at_hand.moment.position
        if before and time.monotonic() - self._foretold < lasts and (lasts > LASTS or before.position >= position):
            return before
        epoch = self._memory.epoch if self._memory else 1
        self._waits = await asyncio.to_thread(waits, at_hand, self._park.park, epoch)
        self._foretold = time.monotonic()
        return self._waits

    @property
    def _unfinished(self) -> bool:
        return self._memory is not None and self._memory.unfinished

    async def current(self) -> Status:
        """The status as of now. Raises what a lost database raises."""
        async with self._alone:
            memory, made = self._memory, self._status
            waits = memory is None or memory.stirred or memory.unfinished
            if made and not waits and time.monotonic() - self._made < LASTS:
                return made
            self._status = await self._make()
            self._made = time.monotonic()
            self.channel.publish(self._status)
            return self._status

    async def _make(self) -> Status:
        now = self._park.clock.now()
        try:
            memory = self._memory
            most: int | None = PASS
            if memory is None or not memory.serves(now):
                memory, most = Memory(self._park.park, self._pool), None
                self._memory = memory
                await memory.open(now)
            if time.monotonic() - self._judged > REJUDGED:
                self._judged = time.monotonic()
                memory.judge_everybody()
            at_hand = await memory.bring_up_to(now, most)
        except BaseException:
            self._memory = None
            raise
        self._at_hand = at_hand
        made = await self._foretell(at_hand, FORETOLD)
        return on_the_wall(status(at_hand, self._park.park, memory.epoch), made)

    async def run(self) -> None:
        """Keep the readers up to date for ever. Whatever goes wrong is logged, and everything is read anew."""
        backoff = Backoff()
        while True:
            try:
                await self._step()
            except LOST as error:
                _logger.warning("board waits for the database", park=self._park.park, why=repr(error))
                await asyncio.sleep(backoff.failed())
            except Exception as error:
                self.why = f"The board cannot be made: {error!r}. The log of this service says where."
                _logger.exception("board failed", park=self._park.park)
                await asyncio.sleep(backoff.failed())
            else:
                self.why = None
                backoff.succeeded()

    async def _step(self) -> None:
        self._stirred.clear()
        await self.current()
        await self._check()
        await asyncio.sleep(PACE)
        with suppress(TimeoutError):
            async with asyncio.timeout(0 if self._unfinished else LASTS):
                await self._stirred.wait()

    async def _check(self) -> None:
        """See that what the log held at the last look is on the board by now."""
        if time.monotonic() - self._checked < BEAT_SECONDS / 2:
            return
        position = self._status.position if self._status else 0
        before, self._head = self._head, (await self._park.log.head()).position
        self._checked = time.monotonic()
        if position >= (self._head if before is None else before):
            self._fresh = self._checked

    def beat(self) -> bytes:
        """An event with the time while the board is fresh; else a comment, so that screens find it stale."""
        made = self._status
        if made is None or time.monotonic() - self._fresh > BEAT_SECONDS:
            return _UNREAD
        return frame("beat", Beat(as_of=self._park.clock.now(), position=made.position))
