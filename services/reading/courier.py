"""The courier of one webhook: letters in the order of the log, one at a time, each until it was taken or is given up."""

import asyncio
import time
from typing import Final

import structlog
from msgspec import Struct
from prometheus_client import Counter

from services.core.backoff import Backoff
from services.core.log import Log
from services.core.pool import LOST
from services.reading.letters import Letter, next_letter, same_letter
from services.reading.pages import Page
from services.reading.post import Outcome, Post
from services.reading.states import Opening
from services.reading.table import Standing, Table

SPAN: Final = 256
"""Positions that are looked through at a time, and that a letter spans at most."""
LASTS: Final = 1.0
"""Seconds after which a courier looks again though nothing was heard."""
DELIVERED = Counter("fieldledger_webhook_letters", "Letters that were taken", ["park"])
GIVEN_UP = Counter("fieldledger_webhook_dead_letters", "Letters that were given up", ["park"])
_logger = structlog.get_logger()


class Patience(Struct, frozen=True, kw_only=True):
    """How long a courier keeps trying one letter: with these waits 12 to 24 minutes, or 4 to 8 seconds where the receiver is there and refuses it."""

    first: float = 0.5
    longest: float = 300.0
    """Seconds between two tries: doubling, each shortened at random by up to a half."""
    tries: int = 14
    refused: int = 5
    """Tries in a row where the receiver was reached and would not take the letter: one that only comes up may say so once."""


class Courier:
    """What it remembers of its way lies in the table, so whoever goes on after a crash sends the very same letter, and none is left out."""

    def __init__(self, log: Log, table: Table, opening: Opening, post: Post, patience: Patience) -> None:
        self.stirred = asyncio.Event()
        self._log = log
        self._table = table
        self._opening = opening
        self._post = post
        self._patience = patience
        self._backoff = Backoff(patience.first, patience.longest)
        self._due = 0.0
        self._refusals = 0

    async def run(self) -> None:
        """Carry letters for ever."""
        lost = Backoff()
        while True:
            self.stirred.clear()
            try:
                if not await self._step():
                    await self._wait()
                lost.succeeded()
            except LOST as error:
                _logger.warning("a courier waits for the database", webhook=self._opening.webhook, why=repr(error))
                await asyncio.sleep(lost.failed())

    async def _step(self) -> bool:
        """One letter, or one look; whether there may be more to do at once."""
        if await self._send_again():
            return True
        if time.monotonic() < self._due:
            return False
        standing = await self._table.standing(self._opening.id)
        if standing.first is not None and standing.last is not None:
            return await self._send(await self._made(standing.first, standing.last), standing)
        after = self._opening.begins if standing.position is None else standing.position
        rows = await self._log.tail(after, SPAN)
        if not rows:
            return False
        page = Page(rows)
        letter = next_letter(self._log.park, page, self._opening.wanted, after)
        if letter is None:
            await self._table.pass_over(self._opening.id, page.last)
            return True
        await self._table.begin(self._opening.id, letter)
        return await self._send(letter, standing)

    async def _made(self, first: int, last: int) -> Letter:
        """A letter made again from the log."""
        page = Page(await self._log.between(first, last))
        letter = same_letter(self._log.park, page, self._opening.wanted, first, last)
        if letter is None:
            raise ValueError(f"the log holds nothing of the letter from {first} to {last}")
        return letter

    async def _send(self, letter: Letter, standing: Standing) -> bool:
        outcome = await self._post.deliver(letter)
        self._refusals = self._refusals + 1 if outcome.refused else 0
        if not outcome.why:
            await self._table.done(self._opening.id, letter)
            self._backoff.succeeded()
            DELIVERED.labels(self._log.park).inc()
            return True
        tries = standing.tries + 1
        if self._is_enough(outcome, tries):
            await self._table.give_up(self._opening.id, self._opening.webhook, letter, tries, outcome.why)
            self._refusals = 0
            self._backoff.succeeded()
            GIVEN_UP.labels(self._log.park).inc()
            _logger.error("a letter was given up", webhook=self._opening.webhook, letter=letter.id, why=outcome.why)
            return True
        await self._table.failed(self._opening.id, tries, outcome.why)
        self._backoff.failed_before(standing.tries)
        self._due = time.monotonic() + self._backoff.failed()
        return False

    def _is_enough(self, outcome: Outcome, tries: int) -> bool:
        return outcome.gone or tries >= self._patience.tries or self._refusals >= self._patience.refused

    async def _send_again(self) -> bool:
        """A dead letter that somebody wants sent again: one try, ahead of what waits."""
        asked = await self._table.to_replay(self._opening.id)
        if asked is None:
            return False
        first, last, _ = asked
        outcome = await self._post.deliver(await self._made(first, last))
        if outcome.why:
            await self._table.not_replayed(self._opening.id, first, outcome.why)
        else:
            await self._table.replayed(self._opening.id, first)
        return True

    async def _wait(self) -> None:
        """Until something is heard, a try is due or a moment has passed."""
        left = self._due - time.monotonic()
        seconds = LASTS if left <= 0 else min(LASTS, left)
        if left > 0:
            await asyncio.sleep(seconds)
            return
        try:
            async with asyncio.timeout(seconds):
                await self.stirred.wait()
        except TimeoutError:
            return
