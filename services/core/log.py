"""The log of one park: an append-only record of bytes, read by position or by tag."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from functools import cache
from types import TracebackType
from typing import Any, Self

import asyncpg

from services.core.append import (
    Append,
    Appended,
    Behind,
    Condition,
    Conflict,
    Draft,
    OutcomeUnknown,
    Request,
    RequestReused,
)
from services.core.clock import Clock
from services.core.pool import Pool
from services.core.reader import Head, Reader, Reading, Row
from services.core.writer import Outcome, Writer

__all__ = [
    "Append",
    "Appended",
    "Behind",
    "Condition",
    "Conflict",
    "Draft",
    "Head",
    "Log",
    "OutcomeUnknown",
    "ParkNotOpen",
    "Reading",
    "Request",
    "RequestReused",
    "Row",
]

APPEND = "SELECT * FROM log.append($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13,$14,$15,$16,$17,$18)"
READ_TAGS = "SELECT * FROM log.read_tags($1, $2, $3)"
EVENT_ID = "event_park_id_key"
READ_TAGS_AT = "SELECT * FROM log.read_tags_at($1, $2, $3, $4, $5)"
TAIL = "SELECT * FROM log.tail($1, $2, $3)"
STORY = "SELECT * FROM log.story($1, $2, $3, $4, $5)"
ANEW = "SELECT log.anew($1, $2, $3)"
POSITION_AT = "SELECT log.position_at($1, $2)"
HEAD = "SELECT epoch, position FROM log.park_head WHERE park = $1"
RECALL_ALL = """
SELECT asked.number, r.device = asked.device AND r.digest = asked.digest, e.epoch, r.first_position, r.last_position, e.recorded_at
FROM unnest($2::uuid[], $3::text[], $4::bytea[]) WITH ORDINALITY AS asked (id, device, digest, number)
JOIN log.request r ON r.park = $1 AND r.id = asked.id
JOIN log.event e ON e.park = $1 AND e.position = r.first_position
"""
ROWS = "SELECT position, leaf FROM log.event WHERE park = $1 AND position = ANY ($2) ORDER BY position"
RECALL = """
SELECT r.device = $3 AND r.digest = $4, e.epoch, r.first_position, r.last_position, e.recorded_at
FROM log.request r JOIN log.event e ON e.park = r.park AND e.position = r.first_position
WHERE r.park = $1 AND r.id = $2
"""
OPEN_PARK = "INSERT INTO log.park_head VALUES ($1, 1, 0, $2) ON CONFLICT (park) DO NOTHING"


class ParkNotOpen(Exception):  # noqa: N818  an answer, not a fault
    """There is no log for this park."""


class Log:
    """One log, per park and process. It reads at any time; it writes inside `async with`."""

    def __init__(self, pool: Pool, park: str, clock: Clock) -> None:
        self.park = park
        self.behind = ""
        """Why nothing is recorded now; empty while all is well."""
        self._pool = pool
        self._clock = clock
        self._writer = Writer(self._write, park)
        self._reader = Reader(self._read)

    async def __aenter__(self) -> Self:
        await self._writer.__aenter__()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self._writer.__aexit__(kind, error, trace)

    async def open_park(self) -> None:
        """Begin the park's log, unless it has begun."""
        async with self._pool.connection() as connection:
            await connection.execute(OPEN_PARK, self.park, self._clock.now())

    async def append(self, append: Append) -> Appended:
        """Record events durably, all or none.

        Raises Conflict when a condition fails, RequestReused when the request's id was used otherwise,
        OutcomeUnknown when the database did not answer in time, Behind while the log lacks what is known outside of it.
        """
        if self.behind:
            raise Behind(self.behind)
        if not append.events:
            raise ValueError("an append brings at least one event")
        return await self._writer.append(append)

    async def append_in_order(self, appends: Sequence[Append]) -> list[Outcome]:
        """Record one after another in one commit, up to the first that is not, or had been before: its outcome is the last, none behind it is tried.

        A condition is on what was there before the first of them. None may repeat the request of another. Raises Behind and OutcomeUnknown as `append` does.
        """
        if self.behind:
            raise Behind(self.behind)
        return await self._writer.by_itself(appends, self._write_in_order) if appends else []

    async def recall(self, request: Request) -> Appended | None:
        """What a request was answered when it was first recorded; raises RequestReused when its id was used otherwise."""
        async with self._pool.connection() as connection:
            row = await connection.fetchrow(RECALL, self.park, request.id, request.device, request.digest)
        if row is None:
            return None
        same, epoch, first, last, recorded_at = row
        if not same:
            raise RequestReused("this id was used for another request")
        return Appended(epoch, first, last, recorded_at, repeat=True)

    async def recall_all(self, requests: Sequence[Request]) -> list[Appended | RequestReused | None]:
        """Of each request what it was answered when it was first recorded; None where its id names none. Two of them may bear one id."""
        columns = [[getattr(one, name) for one in requests] for name in ("id", "device", "digest")]
        async with self._pool.connection() as connection:
            rows = await connection.fetch(RECALL_ALL, self.park, *columns)
        found: list[Appended | RequestReused | None] = [None] * len(requests)
        for number, same, epoch, first, last, at in rows:
            reused = RequestReused("this id was used for another request")
            found[number - 1] = Appended(epoch, first, last, at, repeat=True) if same else reused
        return found

    async def at(self, positions: Sequence[int]) -> list[Row]:
        """The events at these positions, in order."""
        async with self._pool.connection() as connection:
            return [Row(*row) for row in await connection.fetch(ROWS, self.park, list(positions))]

    async def head(self) -> Head:
        async with self._pool.connection() as connection:
            row = await connection.fetchrow(HEAD, self.park)
        if row is None:
            raise ParkNotOpen(self.park)
        return Head(*row)

    async def read(self, wanted: Mapping[str, int]) -> Reading:
        """For each tag its events after the position given, from the latest one that carries the tag onwards."""
        return await self._reader.read(wanted)

    async def _read(self, wanted: Mapping[str, int]) -> Reading:
        async with self._pool.connection() as connection:
            rows = await connection.fetch(READ_TAGS, self.park, list(wanted), list(wanted.values()))
        if not rows:
            raise ParkNotOpen(self.park)
        events: dict[str, list[Row]] = {tag: [] for tag in wanted}
        for _, _, tag, position, leaf in rows:
            if tag is not None:
                events[tag].append(Row(position, leaf))
        return Reading(Head(rows[0][0], rows[0][1]), events)

    async def read_at(
        self, untils: Mapping[str, int], happened: datetime | None = None, reaching: Sequence[str] = ()
    ) -> dict[str, list[Row]]:
        """For each tag its events up to a position, from the latest one that carries the tag onwards.

        `happened`: only those that had happened by then, and those of the types in `reaching`, whenever they did.
        """
        events: dict[str, list[Row]] = {tag: [] for tag in untils}
        async with self._pool.connection() as connection:
            rows = await connection.fetch(
                READ_TAGS_AT, self.park, list(untils), list(untils.values()), happened, list(reaching)
            )
        for tag, position, leaf in rows:
            events[tag].append(Row(position, leaf))
        return events

    async def tail(self, after: int, limit: int = 1000) -> list[Row]:
        """The next events after a position, in order, at most `limit`."""
        async with self._pool.connection() as connection:
            return [Row(*row) for row in await connection.fetch(TAIL, self.park, after, limit)]

    async def between(self, first: int, last: int) -> list[Row]:
        """The events at positions `first` to `last`, both included."""
        return await self.tail(first - 1, max(0, last - first + 1))

    async def story(self, tags: Iterable[str], after: int, until: int, limit: int | None = None) -> list[Row]:
        """The events of some tags after a position and up to another, in order; `limit` is for each tag."""
        async with self._pool.connection() as connection:
            rows = await connection.fetch(STORY, self.park, list(tags), after, until, limit)
        return [Row(*row) for row in rows]

    async def anew(self, tag: str, until: int) -> int:
        """Where a tag's story last began anew at or before a position; 0 where it never did."""
        async with self._pool.connection() as connection:
            return int(await connection.fetchval(ANEW, self.park, tag, until))

    async def position_at(self, moment: datetime) -> int:
        """The last position that had been recorded by a moment; 0 where there was none yet."""
        async with self._pool.connection() as connection:
            return int(await connection.fetchval(POSITION_AT, self.park, moment))

    async def _write(self, appends: Sequence[Append]) -> list[Outcome]:
        try:
            async with self._pool.connection() as connection:
                return await self._verdicts(connection, appends)
        except asyncpg.UniqueViolationError as error:
            if len(appends) == 1 and error.constraint_name == EVENT_ID:
                return [RequestReused("an event of another request has this id")]
            raise

    async def _write_in_order(self, appends: Sequence[Append]) -> list[Outcome]:
        """Tried as a whole, and taken back where one in the midst is not recorded: what stands before it is then written again alone."""
        try:
            async with self._pool.connection() as connection:
                transaction = connection.transaction()
                await transaction.start()
                outcomes = await self._verdicts(connection, appends)
                recorded = next((at for at, one in enumerate(outcomes) if _stops(one)), len(appends))
                if recorded + 1 >= len(appends):
                    await transaction.commit()
                    return outcomes
                await transaction.rollback()
        except asyncpg.UniqueViolationError:
            if len(appends) == 1:
                return await self._write(appends)
            recorded = len(appends) // 2 - 1
        first = await self._write_in_order(appends[: recorded + 1])
        if any(_stops(one) for one in first):
            return first
        return [*first, *await self._write_in_order(appends[recorded + 1 :])]

    async def _verdicts(self, connection: asyncpg.Connection, appends: Sequence[Append]) -> list[Outcome]:
        verdicts = await connection.fetch(APPEND, self.park, self._clock.now(), *_columns(appends))
        outcomes: dict[int, Outcome] = {}
        for number, verdict, tag, first, last, epoch, recorded_at in verdicts:
            if verdict == "conflict":
                outcomes[number] = Conflict(tag)
            elif verdict == "reused":
                outcomes[number] = RequestReused("this id was used for another request")
            else:
                outcomes[number] = Appended(epoch, first, last, recorded_at, verdict == "repeat")
        return [outcomes[number] for number in range(1, len(appends) + 1)]


def _stops(outcome: Outcome) -> bool:
    """Whether what stands behind it was decided on something that did not come about so."""
    return not isinstance(outcome, Appended) or outcome.repeat


def _columns(appends: Sequence[Append]) -> list[list[Any]]:
    """The appends as the arrays that log.append takes."""
    requests = [append.request for append in appends]
    events = [(number, draft) for number, append in enumerate(appends, 1) for draft in append.events]
    conditions = [(number, condition) for number, append in enumerate(appends, 1) for condition in append.conditions]
    return [
        [request.id for request in requests],
        [request.device for request in requests],
        [request.digest for request in requests],
        [len(append.events) for append in appends],
        [number for number, _ in events],
        [draft.id for _, draft in events],
        [draft.type for _, draft in events],
        [draft.day for _, draft in events],
        [draft.occurred_at for _, draft in events],
        ["\n".join(draft.tags) for _, draft in events],
        ["\n".join(draft.carries) for _, draft in events],
        [draft.body for _, draft in events],
        [number for number, _ in conditions],
        [condition.tag for _, condition in conditions],
        [condition.after for _, condition in conditions],
        [_joined(condition.types) for _, condition in conditions],
    ]


@cache
def _joined(types: frozenset[str]) -> str:
    """The types of a condition as log.append takes them. There are as many sets of them as folds that are read together."""
    return " ".join(sorted(types))
