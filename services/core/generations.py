"""The read tables: generations of rows, each with its checkpoint, one of them live."""

from collections.abc import Iterable, Mapping
from typing import Any

import asyncpg
from msgspec import Struct

_CHECKPOINT = """
SELECT c.generation, c.position, coalesce(h.epoch, 1) AS epoch, coalesce(h.position, 0) AS head,
       set_config('synchronous_commit', 'off', true)
FROM projection.checkpoint c LEFT JOIN log.park_head h USING (park)
"""  # Rows and checkpoint are lost together or not at all, and made again from the log: their commit need not wait.
_LOCK_LIVE = _CHECKPOINT + "WHERE c.name = $1 AND c.park = $2 AND c.live FOR UPDATE OF c"
_LOCK = _CHECKPOINT + "WHERE c.generation = $1 FOR UPDATE OF c"
_FIRST = """
INSERT INTO projection.checkpoint (name, park, live, shape) VALUES ($1, $2, true, $3)
ON CONFLICT (name, park) WHERE live DO NOTHING
"""
_BEGIN = "INSERT INTO projection.checkpoint (name, park, live, shape) VALUES ($1, $2, false, $3) RETURNING generation"
_LOAD = "SELECT tag, state FROM projection.state WHERE generation = $1 AND tag = ANY ($2::text[])"
_SAVE = """
WITH advanced AS (UPDATE projection.checkpoint SET epoch = $2, position = $3 WHERE generation = $1)
INSERT INTO projection.state AS s (generation, tag, position, state)
SELECT $1, * FROM unnest($4::text[], $5::bigint[], $6::bytea[])
ON CONFLICT (generation, tag) DO UPDATE SET position = excluded.position, state = excluded.state
"""
_RETIRE_OTHERS = """
UPDATE projection.checkpoint SET live = false WHERE name = $1 AND park = $2 AND live AND shape <> $3 RETURNING generation
"""
_RETIRE = "UPDATE projection.checkpoint SET live = false WHERE generation = $1"
_ELECT = "UPDATE projection.checkpoint SET live = true WHERE generation = $1"
_SPARES = "SELECT generation FROM projection.checkpoint WHERE name = $1 AND park = $2 AND NOT live"
_DROP_SOME = """
DELETE FROM projection.state WHERE ctid = ANY (ARRAY(
    SELECT ctid FROM projection.state WHERE generation = $1 LIMIT 5000))
"""
_DROP = "DELETE FROM projection.checkpoint WHERE generation = $1"
_DIFFERENCES = """
SELECT tag, l.state AS live, count(*) OVER () AS rows
FROM (SELECT * FROM projection.state WHERE generation = $1) l
FULL JOIN (SELECT * FROM projection.state WHERE generation = $2) r USING (tag)
WHERE l.state IS DISTINCT FROM r.state
ORDER BY coalesce(r.position, l.position), tag LIMIT $3
"""
_READ = """
SELECT c.epoch, c.position, s.tag, s.state FROM projection.checkpoint c
LEFT JOIN projection.state s ON s.generation = c.generation AND {}
WHERE c.name = $1 AND c.park = $2 AND c.live ORDER BY s.tag
"""
_READ_TAGS = _READ.format("s.tag = ANY ($3::text[])")
_READ_PREFIX = _READ.format("s.tag ^@ $3")
_ASTRAY = """
SELECT c.name FROM projection.checkpoint c
WHERE c.park = $1 AND c.live AND c.position > 0 AND NOT EXISTS (
    SELECT FROM log.event e WHERE e.park = c.park AND e.position = c.position AND e.epoch <= c.epoch
)
"""
_LONG = 3600.0


class Checkpoint(Struct, frozen=True):
    """How far a generation has come, with the log's epoch and head as they were when it was read."""

    generation: int
    position: int
    epoch: int
    head: int


class Found(Struct, frozen=True):
    """States by tag, all as of one position."""

    epoch: int
    position: int
    states: dict[str, bytes]


class Differences(Struct, frozen=True):
    """How many rows are not what the log says, and the bytes of the first of them by tag: None where there is no row."""

    rows: int
    live: dict[str, bytes | None]


async def lock_live(connection: asyncpg.Connection, name: str, park: str, shape: str) -> Checkpoint:
    """Hold the live generation's checkpoint until the transaction ends; the first call makes it, with rows of this shape to come."""
    while (row := await connection.fetchrow(_LOCK_LIVE, name, park)) is None:
        await connection.execute(_FIRST, name, park, shape)
    return _checkpoint(row)


async def lock(connection: asyncpg.Connection, generation: int) -> Checkpoint:
    return _checkpoint(await connection.fetchrow(_LOCK, generation))


def _checkpoint(row: Mapping[str, Any]) -> Checkpoint:
    return Checkpoint(row["generation"], row["position"], row["epoch"], row["head"])


async def load(connection: asyncpg.Connection, generation: int, tags: Iterable[str]) -> dict[str, bytes]:
    return dict(await connection.fetch(_LOAD, generation, list(tags)))


async def save(
    connection: asyncpg.Connection, at: Checkpoint, position: int, rows: Iterable[tuple[str, int, bytes]]
) -> None:
    """Write rows of (tag, position, state) and move the checkpoint to `position`, in one statement."""
    tags, positions, states = list(zip(*rows, strict=True)) or ((), (), ())
    await connection.execute(_SAVE, at.generation, at.epoch, position, tags, positions, states)


async def retire_others(connection: asyncpg.Connection, name: str, park: str, shape: str) -> bool:
    """Take a live generation whose rows are of another shape out of use; whether there was one. The next one begins with the log's first event."""
    return await connection.fetchval(_RETIRE_OTHERS, name, park, shape) is not None


async def begin(connection: asyncpg.Connection, name: str, park: str, shape: str) -> int:
    """A new, empty generation beside the live one."""
    return int(await connection.fetchval(_BEGIN, name, park, shape))


async def switch(connection: asyncpg.Connection, live: int, successor: int) -> None:
    """Make another generation the live one. The caller holds the live checkpoint."""
    await connection.execute(_RETIRE, live)
    await connection.execute(_ELECT, successor)


async def drop_spares(connection: asyncpg.Connection, name: str, park: str) -> None:
    """Delete every generation that is not live, in short transactions."""
    for row in await connection.fetch(_SPARES, name, park):
        while await connection.execute(_DROP_SOME, row["generation"]) != "DELETE 0":
            pass
        await connection.execute(_DROP, row["generation"])


async def differences(connection: asyncpg.Connection, live: int, replayed: int, limit: int) -> Differences | None:
    """The rows in which two generations differ, at most `limit` of them: those whose last event is the oldest."""
    found = await connection.fetch(_DIFFERENCES, live, replayed, limit, timeout=_LONG)
    return Differences(found[0]["rows"], {row["tag"]: row["live"] for row in found}) if found else None


async def astray(connection: asyncpg.Connection, park: str) -> set[str]:
    """The projections that have taken in what the log does not hold: their checkpoint is ahead of it, or of a life of it that was lost."""
    return {str(row["name"]) for row in await connection.fetch(_ASTRAY, park)}


async def read(connection: asyncpg.Connection, name: str, park: str, tags: Iterable[str]) -> Found:
    """The live states of these tags; one never told anything is absent."""
    return _found(await connection.fetch(_READ_TAGS, name, park, list(tags)))


async def read_prefix(connection: asyncpg.Connection, name: str, park: str, prefix: str) -> Found:
    """The live states of every tag that begins so, in order of tag."""
    return _found(await connection.fetch(_READ_PREFIX, name, park, prefix))


def _found(rows: list[Mapping[str, Any]]) -> Found:
    if not rows:
        return Found(1, 0, {})
    states = {row["tag"]: row["state"] for row in rows if row["tag"] is not None}
    return Found(rows[0]["epoch"], rows[0]["position"], states)
