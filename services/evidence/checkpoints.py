"""The checkpoints that were signed, as the database keeps them. Each lies outside it too, and was there first.

Those stand that cover nothing which a restore has lost: only with them can anything be proven.
"""

from collections.abc import Iterable

import asyncpg

from contracts.evidence import SignedCheckpoint
from services.evidence import note
from services.evidence.checkpoint import Checkpoint

_COLUMNS = "epoch, size, root, signed_at, note"
_SELECT = f"SELECT {_COLUMNS} FROM evidence.checkpoint WHERE park = $1"  # noqa: S608 - constants
_STANDING = f"SELECT {_COLUMNS} FROM evidence.standing WHERE park = $1"  # noqa: S608
_NEWEST = f"{_STANDING} ORDER BY epoch DESC, size DESC LIMIT 1"
_COVERING = f"{_STANDING} AND size >= $2 ORDER BY epoch, size LIMIT 1"
_OF_SIZE = f"{_STANDING} AND size = $2 ORDER BY epoch DESC LIMIT 1"
_NEWEST_FIRST = "ORDER BY epoch DESC, size DESC LIMIT $4"
_BEFORE = f"{_SELECT} AND ($2::bigint IS NULL OR size < $2) AND ($3::int IS NULL OR epoch = $3) {_NEWEST_FIRST}"
_AFTER = f"{_SELECT} AND (epoch, size) > ($2, $3) ORDER BY epoch, size LIMIT $4"
_AT = "SELECT root FROM evidence.checkpoint WHERE park = $1 AND epoch = $2 AND size = $3"
_BEGUN = "SELECT EXISTS (SELECT FROM evidence.epoch WHERE park = $1 AND epoch = $2)"
_KEEP = "INSERT INTO evidence.checkpoint VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (park, epoch, size) DO NOTHING"


def _read(row: asyncpg.Record) -> SignedCheckpoint:
    epoch, size, root, signed_at, text = row
    return SignedCheckpoint(epoch=epoch, size=size, root=root.hex(), signed_at=signed_at, note=text)


async def _one(connection: asyncpg.Connection, query: str, *parameters: object) -> SignedCheckpoint | None:
    row = await connection.fetchrow(query, *parameters)
    return None if row is None else _read(row)


async def newest(connection: asyncpg.Connection, park: str) -> SignedCheckpoint | None:
    """The newest that stands."""
    return await _one(connection, _NEWEST, park)


async def first_covering(connection: asyncpg.Connection, park: str, position: int) -> SignedCheckpoint | None:
    """The earliest that stands and covers an event."""
    return await _one(connection, _COVERING, park, position)


async def of_size(connection: asyncpg.Connection, park: str, size: int) -> SignedCheckpoint | None:
    """One that stands, over so many events."""
    return await _one(connection, _OF_SIZE, park, size)


async def before(
    connection: asyncpg.Connection, park: str, size: int | None, epoch: int | None, limit: int
) -> list[SignedCheckpoint]:
    """Those over fewer events than `size`, and of that epoch, the newest first."""
    return [_read(row) for row in await connection.fetch(_BEFORE, park, size, epoch, limit)]


async def after(connection: asyncpg.Connection, park: str, epoch: int, size: int, limit: int) -> list[SignedCheckpoint]:
    """Those that were signed after one, the oldest first."""
    return [_read(row) for row in await connection.fetch(_AFTER, park, epoch, size, limit)]


async def keep(connection: asyncpg.Connection, park: str, notes: Iterable[str]) -> None:
    """Keep signed notes, those that are there already aside."""
    for text in notes:
        head = Checkpoint.parse(note.read(text).text)
        await connection.execute(_KEEP, park, head.epoch, head.size, head.root, text, head.signed_at)


async def holds(connection: asyncpg.Connection, park: str, checkpoint: Checkpoint) -> bool:
    """Whether a checkpoint is kept, with the root it has."""
    row = await connection.fetchrow(_AT, park, checkpoint.epoch, checkpoint.size)
    return row is not None and bytes(row[0]) == checkpoint.root


async def begun(connection: asyncpg.Connection, park: str, epoch: int) -> bool:
    """Whether the log says that this epoch has begun, and what was lost."""
    return bool(await connection.fetchval(_BEGUN, park, epoch))
