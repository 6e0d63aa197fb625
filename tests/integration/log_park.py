"""A park's log with plain events, for the tests of the log."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from uuid import uuid4

from services.core.clock import SystemClock
from services.core.log import Append, Condition, Draft, Log, Request
from services.core.pool import Pool

PARK = "north"
OCCURRED = datetime(2026, 5, 2, 10, 30, tzinfo=UTC)


@asynccontextmanager
async def opened(url, park=PARK, clock=None) -> AsyncIterator[Log]:
    """An open log on connections of its own, as a process of its own would have."""
    pool = Pool(url, size=4)
    try:
        async with Log(pool, park, clock or SystemClock()) as log:
            await log.open_park()
            yield log
    finally:
        await pool.close()


def draft(*tags, type="toy.happened", carries=(), body=b"{}", id=None):  # noqa: A002
    return Draft(id or uuid4(), type, OCCURRED.date(), OCCURRED, tags, tuple(carries), body)


def append(*drafts, conditions=(), id=None, device="kiosk-1", digest=b"d" * 32):  # noqa: A002
    return Append(Request(id or uuid4(), device, digest), drafts, tuple(conditions))


def nothing_newer(tag, after, *types):
    return Condition(tag, after, frozenset(types))


def positions(rows):
    return [row.position for row in rows]
