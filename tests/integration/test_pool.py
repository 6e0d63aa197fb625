"""The pool: what one borrower leaves behind must never reach the next."""

import asyncio

import pytest

from services.core.pool import Pool

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(60)]


@pytest.fixture
def anyio_backend():
    return "asyncio"


@pytest.fixture
async def pool(database):
    pool = Pool(database.url, size=1)
    yield pool
    await pool.close()


async def begin(pool, begun):
    async with pool.connection() as connection:
        begun.set()
        async with connection.transaction():
            await asyncio.sleep(10)


@pytest.mark.parametrize("after", [0, 0.00005, 0.0001, 0.0002, 0.0004, 0.02])
async def test_a_borrower_cancelled_while_it_begins_leaves_no_transaction_to_the_next(pool, after):
    for _ in range(8):
        begun = asyncio.Event()
        task = asyncio.ensure_future(begin(pool, begun))
        await begun.wait()
        await asyncio.sleep(after)
        task.cancel()
        await asyncio.wait([task])
        async with pool.connection() as connection:
            assert await connection.fetchval("SELECT pg_current_xact_id_if_assigned() IS NULL")
            assert not connection.is_in_transaction()


async def test_a_transaction_left_open_is_not_handed_on(pool):
    async with pool.connection() as connection:
        await connection.execute("BEGIN")
    async with pool.connection() as connection:
        assert not connection.is_in_transaction()


async def test_a_borrower_that_finished_leaves_its_connection_for_the_next(pool):
    async with pool.connection() as connection:
        first = await connection.fetchval("SELECT pg_backend_pid()")
    async with pool.connection() as connection:
        assert await connection.fetchval("SELECT pg_backend_pid()") == first
