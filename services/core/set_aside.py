"""What was not recorded: a line of a batch is kept until a person has judged it; of what was refused alone only its number is noted."""

from collections.abc import Sequence
from datetime import datetime
from hashlib import sha256
from typing import Any, Final
from uuid import UUID

from msgspec import Struct

from contracts.problems import SetAsideFull
from contracts.set_aside import Alike, Chosen
from contracts.words import Role
from services.core.pool import Pool

MOST_LINES: Final = 10_000
"""Of one device that wait at a time."""
MOST_BYTES: Final = 64_000_000
"""Of one device that wait at a time."""
LISTED: Final = 200
MOST_LISTED: Final = 2_000_000
"""Bytes of lines in one list: it ends behind the line that makes it longer."""
MOST_CHOSEN: Final = 16_000_000
"""Bytes of lines that are judged at once: they end behind the line that makes them more."""
PROBLEMS: Final = "/problems/"
_ROOM = """
SELECT count(*), coalesce(sum(length(claimed)), 0), count(*) FILTER (WHERE id = ANY ($3)), coalesce(sum(length(claimed)) FILTER (WHERE id = ANY ($3)), 0)
FROM log.set_aside WHERE park = $1 AND device = $2 AND judged_at IS NULL
"""
_KEEP = """
INSERT INTO log.set_aside (park, id, device, roles, seq, key, received_at, device_time, claimed, sha256, why, detail)
SELECT $1, one.id, $2, $3, one.seq, one.key, one.received_at, one.device_time, one.claimed, one.sha256, one.why, one.detail
FROM unnest($4::text[], $5::bigint[], $6::uuid[], $7::timestamptz[], $8::timestamptz[], $9::bytea[], $10::bytea[], $11::text[], $12::text[])
    AS one (id, seq, key, received_at, device_time, claimed, sha256, why, detail)
ON CONFLICT (park, id) DO NOTHING
"""
_NOTE = """
INSERT INTO log.sequence AS known (park, device, refused) SELECT $1, $2, range_agg(int8range(seq, seq, '[]')) FROM unnest($3::bigint[]) AS seq HAVING count(*) > 0
ON CONFLICT (park, device) DO UPDATE SET refused = known.refused + excluded.refused
WHERE NOT known.refused @> excluded.refused
"""
_WAITING = "SELECT count(*) FROM log.set_aside WHERE park = $1 AND device = $2 AND judged_at IS NULL"
_JUDGE = """
UPDATE log.set_aside SET claimed = NULL, judged_at = $4, judged_by = $5, outcome = $3
WHERE park = $1 AND id = ANY ($2) AND judged_at IS NULL
"""
_FIND = """
SELECT id, device, roles, seq, key, received_at, device_time, claimed, sha256, why, detail, judged_at, judged_by, outcome
FROM log.set_aside WHERE park = $1 AND id = $2
"""
_LIST = """
WITH found AS (
    SELECT id, row_number() OVER listed AS number, sum(coalesce(length(claimed), 0)) OVER listed - coalesce(length(claimed), 0) AS before
    FROM log.set_aside
    WHERE park = $1 AND ($2::text IS NULL OR device = $2) AND ($6::text IS NULL OR why = $6) AND (judged_at IS NOT NULL) = $3
    WINDOW listed AS (ORDER BY CASE WHEN $3 THEN judged_at END DESC, received_at, seq, id ROWS UNBOUNDED PRECEDING)
    ORDER BY number LIMIT $4 + 1
)
SELECT (SELECT count(*) FROM found) AS many,
    id, device, roles, seq, key, received_at, device_time, claimed, sha256, why, detail, judged_at, judged_by, outcome
FROM found JOIN log.set_aside USING (id) WHERE park = $1 AND number <= $4 AND before <= $5 ORDER BY number
"""
_GROUPS = """
SELECT device, why, count(*) AS lines, min(received_at) AS first_at, max(received_at) AS last_at, min(seq) AS first_seq, max(seq) AS last_seq,
    (array_agg(detail ORDER BY received_at, seq, id))[1] AS such_as
FROM log.set_aside WHERE park = $1 AND judged_at IS NULL GROUP BY device, why
ORDER BY sum(count(*)) OVER (PARTITION BY device) DESC, device, lines DESC, why
"""
_CHOSEN = """
WITH found AS (
    SELECT id, row_number() OVER listed AS number, sum(length(claimed)) OVER listed - length(claimed) AS before
    FROM log.set_aside
    WHERE park = $1 AND judged_at IS NULL AND ($2::text IS NULL OR device = $2) AND ($3::text IS NULL OR why = $3)
        AND ($4::bigint IS NULL OR seq >= $4) AND ($5::bigint IS NULL OR seq <= $5)
        AND ($6::timestamptz IS NULL OR received_at >= $6) AND received_at <= $7
        AND ($8::text IS NULL OR (received_at, coalesce(seq, 9223372036854775807), id) >
            (SELECT received_at, coalesce(seq, 9223372036854775807), id FROM log.set_aside WHERE park = $1 AND id = $8))
    WINDOW listed AS (ORDER BY received_at, seq, id ROWS UNBOUNDED PRECEDING)
)
SELECT (SELECT count(*) FROM found) AS many,
    id, device, roles, seq, key, received_at, device_time, claimed, sha256, why, detail, judged_at, judged_by, outcome
FROM found JOIN log.set_aside USING (id) WHERE park = $1 AND number <= $9 AND before <= $10 ORDER BY number
"""
_DISMISSED = "SELECT id, why, detail FROM log.set_aside WHERE park = $1 AND id = ANY ($2) AND outcome = 'dismissed'"


class Refusal(Struct, frozen=True, kw_only=True):
    """A line that was not recorded, as it came, and why."""

    claimed: bytes
    seq: int | None
    key: UUID | None
    received_at: datetime
    device_time: datetime | None
    why: str
    detail: str


class Kept(Refusal, frozen=True, kw_only=True):
    """A line that was set aside. Once it is judged `claimed` is empty."""

    id: str
    device: str
    roles: frozenset[Role]
    sha256: bytes
    judged_at: datetime | None
    judged_by: str | None
    outcome: Any


def line_id(device: str, claimed: bytes) -> str:
    """What names a line: the same bytes of the same device are the same line."""
    return "line-" + sha256(device.encode() + b"\n" + claimed).hexdigest()[:32]


class SetAside:
    """The lines that were set aside in one park."""

    def __init__(self, pool: Pool, park: str) -> None:
        self._pool = pool
        self._park = park

    async def keep(self, device: str, roles: frozenset[Role], lines: Sequence[Refusal]) -> None:
        """Keep lines until they are judged; one that is there is kept once. Raises SetAsideFull, and keeps none of them."""
        ids = [line_id(device, line.claimed) for line in lines]
        async with self._pool.connection() as connection, connection.transaction():
            many, size, again, size_again = await connection.fetchrow(_ROOM, self._park, device, ids)
            size += sum(len(line.claimed) for line in lines) - size_again
            if many - again + len(set(ids)) > MOST_LINES or size > MOST_BYTES:
                raise SetAsideFull(
                    f"{many} lines of this device are set aside already. Keep the rest, have them judged, and send again from this line."
                )
            columns = [
                ids,
                *(
                    [getattr(line, name) for line in lines]
                    for name in ("seq", "key", "received_at", "device_time", "claimed")
                ),
                [sha256(line.claimed).digest() for line in lines],
                [line.why for line in lines],
                [
                    line.detail.replace("\0", "\N{REPLACEMENT CHARACTER}") for line in lines
                ],  # which no text of the database may hold
            ]
            await connection.execute(_KEEP, self._park, device, sorted(roles), *columns)
            await connection.execute(_NOTE, self._park, device, [line.seq for line in lines if line.seq is not None])

    async def note(self, device: str, numbers: Sequence[int]) -> None:
        """The device was told that these are refused: no hole, though nothing of them is recorded or kept."""
        async with self._pool.connection() as connection:
            await connection.execute(_NOTE, self._park, device, list(numbers))

    async def waiting(self, device: str) -> int:
        async with self._pool.connection() as connection:
            return int(await connection.fetchval(_WAITING, self._park, device))

    async def judge(self, ids: Sequence[str], outcome: str, at: datetime, by: str | None) -> None:
        """They are settled: of each only its hash stays. What was judged before stays as it was."""
        async with self._pool.connection() as connection:
            await connection.execute(_JUDGE, self._park, list(ids), outcome, at, by)

    async def find(self, line: str) -> Kept | None:
        async with self._pool.connection() as connection:
            row = await connection.fetchrow(_FIND, self._park, line)
        return None if row is None else _kept(row)

    async def dismissed(self, ids: Sequence[str]) -> dict[str, tuple[str, str]]:
        """Those of these lines that a person has dismissed, each with its problem's type and detail."""
        async with self._pool.connection() as connection:
            rows = await connection.fetch(_DISMISSED, self._park, list(ids))
        return {line: (why, detail) for line, why, detail in rows}

    async def groups(self) -> list[Alike]:
        """What waits, by device and reason: the device with the most of it first, and of each the greatest group first."""
        async with self._pool.connection() as connection:
            return [Alike(**row) for row in await connection.fetch(_GROUPS, self._park)]

    async def chosen(self, lines: Chosen, most: int) -> tuple[Sequence[Kept], int]:
        """The longest waiting of these, in order and within bounds, and how many there are of them in all."""
        why = lines.problem and PROBLEMS + lines.problem
        span = (lines.first_seq, lines.last_seq, lines.received_from, lines.received_until)
        async with self._pool.connection() as connection:
            rows = await connection.fetch(_CHOSEN, self._park, lines.device, why, *span, lines.after, most, MOST_CHOSEN)
        return [_kept(row) for row in rows], rows[0]["many"] if rows else 0

    async def list(self, device: str | None, problem: str | None, *, judged: bool) -> tuple[Sequence[Kept], bool]:
        """At most LISTED of them, and whether there are more."""
        why = problem and PROBLEMS + problem
        async with self._pool.connection() as connection:
            rows = await connection.fetch(_LIST, self._park, device, judged, LISTED, MOST_LISTED, why)
        return [_kept(row) for row in rows], bool(rows) and rows[0]["many"] > len(rows)


def _kept(row: Any) -> Kept:
    found = {name: value for name, value in row.items() if name != "many"}
    return Kept(**found | {"roles": frozenset(found["roles"]), "claimed": found["claimed"] or b""})
