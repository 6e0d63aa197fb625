"""The sender of one park: in one process of all, a courier for each webhook that is open."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from typing import Any, Final
from uuid import UUID

import asyncpg
import structlog

from contracts.problems import Unavailable
from services.core.backoff import Backoff
from services.core.park import Park
from services.core.pool import LOST
from services.core.projection import Change
from services.reading.courier import Courier, Patience
from services.reading.post import Post
from services.reading.seal import Seal, SealBroken
from services.reading.states import OPENINGS, Opening, Openings
from services.reading.table import Table

LOOK: Final = 0.5
"""Seconds between two looks at which webhooks are open, and whether this process still leads."""
_ANSWERS_WITHIN: Final = 5.0
_LEAD: Final = "SELECT pg_try_advisory_lock(hashtextextended('fieldledger webhooks ' || $1, 0))"
_WAITED_OUT: tuple[type[Exception], ...] = (*LOST, Unavailable)
_logger = structlog.get_logger()


class Sender:
    """Leads by an advisory lock on a connection of its own, `connect`. Should two believe that they lead, a receiver gets a letter twice under one id."""

    def __init__(
        self, park: Park, table: Table, seal: Seal, connect: Callable[[], Awaitable[asyncpg.Connection]], patience: Patience
    ) -> None:  # fmt: skip
        self._park = park
        self._table = table
        self._seal = seal
        self._connect = connect
        self._patience = patience
        self._couriers: dict[UUID, tuple[Courier, asyncio.Task[None]]] = {}
        self._sealed_off: set[UUID] = set()

    def hear(self, _: Change[Any]) -> None:
        """Something was recorded."""
        for courier, _task in self._couriers.values():
            courier.stirred.set()

    async def run(self) -> None:
        """Lead when nobody else does, for ever. While the log lacks what is known outside of it nothing is sent."""
        backoff = Backoff()
        while True:
            try:
                async with self._leadership() as connection:
                    backoff.succeeded()
                    await self._lead(connection)
            except _WAITED_OUT as error:
                _logger.info("webhooks wait", park=self._park.park, why=str(error) or repr(error))
                await asyncio.sleep(backoff.failed())

    @asynccontextmanager
    async def _leadership(self) -> AsyncIterator[asyncpg.Connection]:
        connection = await self._connect()
        try:
            while not await connection.fetchval(_LEAD, self._park.park, timeout=_ANSWERS_WITHIN):  # noqa: ASYNC110 - another process leads
                await asyncio.sleep(LOOK)
            yield connection
        finally:
            connection.terminate()

    async def _lead(self, connection: asyncpg.Connection) -> None:
        try:
            while True:
                await self._look()
                await asyncio.sleep(LOOK)
                await connection.execute("SELECT 1", timeout=_ANSWERS_WITHIN)
        finally:
            for _, task in self._couriers.values():
                task.cancel()
            self._couriers.clear()

    async def _look(self) -> None:
        """Begin with what is newly open, end what is closed, and go on after a courier that broke."""
        given, _ = await self._park.load(lambda _: {(OPENINGS, "")})
        state: Openings = given.of(OPENINGS, "")
        wanted = {one.id: one for one in state.open.values()}
        for opening, (_, task) in list(self._couriers.items()):
            if opening not in wanted or task.done():
                task.cancel()
                del self._couriers[opening]
                if task.done() and not task.cancelled() and (error := task.exception()) is not None:
                    _logger.error("a courier broke", park=self._park.park, exc_info=error)
        for opening, one in wanted.items():
            if opening not in self._couriers:
                await self._begin(one)

    async def _begin(self, opening: Opening) -> None:
        sealed = await self._table.sealed(opening.id)
        try:
            receiver = self._seal.open(opening.id, sealed or b"")
        except SealBroken as error:
            if opening.id not in self._sealed_off:
                self._sealed_off.add(opening.id)
                why = f"its address cannot be unsealed: {error}. Close it and open it anew"
                _logger.warning("a webhook cannot be sent to", webhook=opening.webhook, why=why)
                await self._table.failed(opening.id, 0, why)
            return
        post = Post(receiver)
        courier = Courier(self._park.log, self._table, opening, post, self._patience)
        self._couriers[opening.id] = (courier, asyncio.create_task(_carried(courier, post)))


async def _carried(courier: Courier, post: Post) -> None:
    async with post:
        await courier.run()
