"""A long history for the measures: the invented day, played once through the HTTP API, then repeated with everybody and everything renamed."""

from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from typing import Any

import asyncpg
import httpx
import msgspec
from msgspec import Struct

from contracts import leaf
from contracts.catalogue import carries_of
from contracts.envelope import Recorded
from contracts.games import GameStarted
from deploy.app import listening, listening_socket, running
from deploy.demo.clock import RunningClock
from deploy.demo.day import Day as DemoDay
from deploy.demo.invitations import OFFICE, enrolled
from deploy.demo.play import opening_time
from deploy.services import PROJECTIONS, SERVICES
from services.core.log import Log
from tests.bench.ground import PARK, Ground, database
from tests.databases import Database

REHEARSAL = "rehearsal"
"""The park where the day is played; the bus holds a stream of its own for every park that is up."""
MARK = "-copy0000"
"""Ends every name in the day; a copy has a number of its own there."""


class Happened(Struct, frozen=True):
    """An event of the day, its names marked."""

    recorded: Recorded[Any]
    body: bytes
    tags: tuple[str, ...]
    carries: tuple[str, ...]


class Day(Struct, frozen=True):
    """The day's events; `games` names who was let onto which field."""

    events: tuple[Happened, ...]
    games: tuple[tuple[str, str], ...]
    ends: datetime

    def copies(self, events: int) -> int:
        """How many days make at least so many events."""
        return -(-events // len(self.events))


async def played(here: Ground) -> Day:
    """Play the invented day on a fresh park, through its HTTP API."""
    clock = RunningClock()
    with database(here) as where, closing(listening_socket("127.0.0.1", 0)) as made:
        address = f"http://127.0.0.1:{made.getsockname()[1]}"
        async with (
            running(where.url, here.bus, [REHEARSAL], SERVICES, PROJECTIONS, clock, here.outside) as up,
            listening(up.app, made),
            httpx.AsyncClient(base_url=address, timeout=30) as http,
        ):
            clock.set(opening_time(clock.now()))
            office = await up.devices.enrol(REHEARSAL, OFFICE, frozenset({"manager"}), OFFICE)
            keys = await enrolled(address, REHEARSAL, office, clock, 7)
            await DemoDay(http, REHEARSAL, keys, clock, 7, lambda _: None).play()
            return marked([row async for row in leaves(up.parks[REHEARSAL].log)])


async def leaves(log: Log) -> Any:
    """Every leaf of a log, in order."""
    after = 0
    while rows := await log.tail(after):
        for row in rows:
            yield row.leaf
        after = rows[-1].position


OF_A_DAY = frozenset({"checks", "plan", "sessions"})
"""Prefixes of tags that name a date: what an event says of its day stays."""


def marked(day: list[bytes]) -> Day:
    """The day with the mark behind every name that some tag names; without its adoption of rules and of a key, which are not daily things."""
    day = [one for one in day if not {"rules", "evidence"} & set(leaf.decode(one).tags)]
    recorded = [leaf.decode(one) for one in day]
    named = (tag.partition(":") for event in recorded for tag in event.tags)
    names = {name for prefix, _, name in named if name and prefix not in OF_A_DAY}
    events = tuple(_marked(one, names) for one in day)
    games = {
        (entrant.player, event.recorded.data.field)
        for event in events
        if isinstance(event.recorded.data, GameStarted)
        for entrant in event.recorded.data.entrants
    }
    return Day(events, tuple(sorted(games)), recorded[-1].recorded_at)


def _marked(bytes_of_leaf: bytes, names: set[str]) -> Happened:
    *frame, body = bytes_of_leaf.split(b"\n", 5)
    event = msgspec.json.decode(body)
    event["data"] = _renamed(event["data"], names)
    event["tags"] = [f"{tag}{MARK}" if ":" in tag else tag for tag in event["tags"]]
    renamed = msgspec.json.encode(event)
    recorded = leaf.decode(b"\n".join([*frame, renamed]))
    return Happened(recorded, renamed, recorded.tags, carries_of(recorded.data))


def _renamed(value: Any, names: set[str]) -> Any:
    if isinstance(value, dict):
        return {key: _renamed(one, names) for key, one in value.items()}
    if isinstance(value, list):
        return [_renamed(one, names) for one in value]
    return f"{value}{MARK}" if isinstance(value, str) and value in names else value


def copied(name: str, copy: int) -> str:
    """The same name in another copy of the day."""
    return name.replace(MARK, f"-copy{copy:04d}")


_TEMPLATE = """
CREATE TABLE public.day (number int, id uuid, type text, day date, occurred_at timestamptz, recorded_at timestamptz,
                         device text, tags text, carries text, body text)
"""
_COPIES = """
CREATE OR REPLACE VIEW public.copied AS
SELECT c.copy * (SELECT count(*) FROM public.day) + d.number AS position,
       md5(c.copy || ' ' || d.number)::uuid AS id, d.type, d.day, d.occurred_at, d.recorded_at, d.device,
       replace(d.tags, '-copy0000', c.mark) AS tags, replace(d.carries, '-copy0000', c.mark) AS carries,
       replace(d.body, '-copy0000', c.mark) AS body, d.id::text AS old
FROM (SELECT copy, '-copy' || lpad(copy::text, 4, '0') AS mark FROM generate_series(0, {last}) copy) c, public.day d
"""
_FILL = (
    r"""INSERT INTO log.event
SELECT '{park}', position, 1, id, type, day, occurred_at, recorded_at, device, string_to_array(tags, E'\n'),
       convert_to('fieldledger leaf 1' || E'\n{park}\n1\n' || position || E'\n'
                  || (extract(epoch FROM recorded_at) * 1000000)::bigint || E'\n' || replace(body, old, id::text), 'UTF8')
FROM public.copied""",
    r"""INSERT INTO log.event_tag
SELECT '{park}', tag, position, type, tag = ANY (string_to_array(carries, E'\n'))
FROM public.copied, string_to_table(tags, E'\n') AS tag""",
    "INSERT INTO log.request SELECT '{park}', id, device, sha256(id::text::bytea), position, position FROM public.copied",
    "INSERT INTO log.park_head SELECT '{park}', 1, count(*), now() FROM log.event",
)
_INDEXES = """
SELECT format('ALTER TABLE log.%I DROP CONSTRAINT %I', relname, conname),
       format('ALTER TABLE log.%I ADD CONSTRAINT %I %s', relname, conname, pg_get_constraintdef(o.oid))
FROM pg_constraint o JOIN pg_class t ON t.oid = conrelid JOIN pg_namespace n ON n.oid = t.relnamespace
WHERE nspname = 'log' AND contype IN ('p', 'u') AND relname IN ('event', 'event_tag', 'request')
UNION ALL SELECT 'DROP INDEX log.event_tag_carried', pg_get_indexdef('log.event_tag_carried'::regclass)
"""


async def fill(where: Database, day: Day, events: int) -> int:
    """Repeat the day in a fresh log until it holds at least so many events; how many it holds.

    The owner inserts the rows that `log.append` would have written, and makes the indexes afterwards: it is many times faster.
    """
    copies = day.copies(events)
    connection = await asyncpg.connect(where.admin_url, command_timeout=600)
    try:
        await connection.execute(_TEMPLATE)
        await connection.copy_records_to_table("day", schema_name="public", records=_records(day))
        await connection.execute(_COPIES.format(last=copies - 1))
        indexes = await connection.fetch(_INDEXES)
        for drop, _ in indexes:
            await connection.execute(drop)
        for statement in _FILL:
            await connection.execute(statement.format(park=PARK))
        await connection.execute("SET maintenance_work_mem = '1GB'")
        for _, make in indexes:
            await connection.execute(make)
        await connection.execute("VACUUM (ANALYZE) log.event, log.event_tag, log.request")
        await connection.execute("CHECKPOINT")
    finally:
        await connection.close()
    return copies * len(day.events)


def _records(day: Day) -> Iterator[tuple[Any, ...]]:
    for number, one in enumerate(day.events, 1):
        event = one.recorded
        yield (
            number, event.id, event.type, event.day, event.occurred_at, event.recorded_at, event.device,
            "\n".join(one.tags), "\n".join(one.carries), one.body.decode(),
        )  # fmt: skip
