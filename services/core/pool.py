"""Connections to the database: one SQLAlchemy engine a process, whose asyncpg connections the hot calls use directly."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import asyncpg
from sqlalchemy import event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, DisconnectionError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlalchemy.ext.asyncio import create_async_engine

# After one of these nobody knows whether the statement was carried out.
LOST: tuple[type[Exception], ...] = (
    OSError,
    TimeoutError,
    PoolTimeoutError,
    DBAPIError,
    asyncpg.PostgresConnectionError,
    asyncpg.InterfaceError,
    asyncpg.InternalClientError,
    asyncpg.OperatorInterventionError,
    asyncpg.InsufficientResourcesError,
    asyncpg.TransactionRollbackError,
)


class Pool:
    """Connections to one database; `size` is the most that are open at a time."""

    def __init__(self, url: str, size: int = 10) -> None:
        self.url = url
        self.engine = create_async_engine(
            make_url(url).set(drivername="postgresql+asyncpg"),
            pool_size=size,
            max_overflow=0,
            pool_timeout=10,
            connect_args={"timeout": 5, "command_timeout": 30, "server_settings": {"jit": "off"}},
        )
        event.listen(self.engine.sync_engine, "checkout", _refuse_closed)

    @asynccontextmanager
    async def connection(self) -> AsyncIterator[asyncpg.Connection]:
        """Lend an asyncpg connection that is open, outside any transaction. Its prepared statements are kept.

        One whose borrower was broken off is closed: a cancelled BEGIN leaves a transaction open that nobody will
        commit, and what the next borrower wrote would be acknowledged and lost.
        """
        async with self.engine.connect() as connection:
            driver: asyncpg.Connection = (await connection.get_raw_connection()).driver_connection
            finished = False
            try:
                yield driver
                finished = True
            finally:
                if not finished or driver.is_in_transaction():
                    driver.terminate()

    async def close(self) -> None:
        await self.engine.dispose()


def _refuse_closed(connection: Any, _record: Any, _proxy: Any) -> None:
    if connection.driver_connection.is_closed():
        raise DisconnectionError
