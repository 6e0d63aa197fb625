"""`fieldledger audit check` on a real database: what a superuser changes, drops, exchanges or forges is named."""

import asyncio
import json
import subprocess
import sys
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from functools import partial
from uuid import UUID

import asyncpg
import msgspec
import pytest

from contracts import leaf
from contracts.catalogue import TYPES, carries_of, tags_of
from contracts.envelope import Event
from contracts.problems import NotFound, NotInThatState
from deploy.commands.check import check_all
from services.audit.cases.examination import examine
from services.audit.cases.routes import case_of
from services.core.clock import SystemClock
from services.core.log import Append, Draft, Log, Request
from services.core.park import Park
from services.core.pool import Pool
from services.core.writer import WORTH_HALVING
from services.evidence import checkpoints, library, note
from services.evidence.checkpoint import Checkpoint, origin_of
from services.evidence.note import SigningKey
from services.evidence.outside import SEPARATOR, Outside
from services.evidence.rounds import LOCK, NotSigned, Rounds
from tests.integration.terminal import terminal
from tests.unit.signed_log import PARK, data_of

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(120)]
SIGNED = 301
"""300 events and the adoption of the key."""


@pytest.fixture
def anyio_backend():
    return "asyncio"


REWRITTEN = """
UPDATE log.event SET device = 'kiosk-2', leaf = convert_to(replace(convert_from(leaf, 'UTF8'), 'kiosk-1', 'kiosk-2'), 'UTF8')
WHERE position = 180
"""


class Recorded:
    """A park's log with three checkpoints, and ten events that nobody has signed yet."""

    def __init__(self, database, folder, log, pool):
        self.database, self.folder, self.log, self.pool = database, folder, log, pool
        self.outside = Outside(folder, log.park)
        park = Park(log.park, log, SystemClock())
        self.rounds = Rounds(park, self.outside, lambda: asyncpg.connect(database.url))

    async def record(self, numbers):
        """So few at a time that one call takes them, in their order: of two calls under way either may come first."""
        waiting = [Append(Request(d.id, "kiosk-1", b"d" * 32), (d,)) for d in drafts(numbers)]
        for first in range(0, len(waiting), WORTH_HALVING - 1):
            await asyncio.gather(*map(self.log.append, waiting[first : first + WORTH_HALVING - 1]))

    async def tamper(self, *statements):
        """As a superuser who knows how to switch off what guards history."""
        connection = await asyncpg.connect(self.database.admin_url)
        tables = ("log.event", "log.event_tag", "log.request", "evidence.checkpoint")
        try:
            for change in ("DISABLE", "ENABLE ALWAYS"):
                for table in tables:
                    await connection.execute(f"ALTER TABLE {table} {change} TRIGGER history")
                for statement, *arguments in statements if change == "DISABLE" else ():
                    assert not (await connection.execute(statement, *arguments)).endswith(" 0"), statement
        finally:
            await connection.close()

    async def report(self):
        (report,) = await check_all(self.database.url, self.folder)
        return report

    async def named(self):
        """Each finding by its kind and position."""
        return {(one.kind, one.position) for one in (await self.report()).findings}


def drafts(numbers):
    at = datetime(2026, 5, 2, 10, 30, tzinfo=UTC)
    for number in numbers:
        data = data_of(number)
        event = Event(
            type=TYPES[type(data)],
            version=1,
            id=UUID(int=number),
            day=at.date(),
            occurred_at=at,
            claimed_at=None,
            clock="server",
            device="kiosk-1",
            device_seq=None,
            actor=None,
            tags=tags_of(data),
            data=msgspec.Raw(msgspec.json.encode(data)),
        )
        yield Draft(event.id, event.type, event.day, at, event.tags, carries_of(data), leaf.encode(event))


@asynccontextmanager
async def recording(database, folder, park=PARK):
    pool = Pool(database.url, size=4)
    try:
        async with Log(pool, park, SystemClock()) as log:
            await log.open_park()
            yield Recorded(database, folder, log, pool)
    finally:
        await pool.close()


@pytest.fixture
async def recorded(database, tmp_path):
    folder = tmp_path / "outside"
    folder.mkdir()
    async with recording(database, folder) as made:
        for numbers in (range(1, 101), range(101, 258), range(258, 301)):
            await made.record(numbers)
            await made.rounds.sign()
        await made.record(range(301, 311))
        yield made


async def test_nothing_is_found_in_a_record_that_nobody_touched(recorded):
    report = await recorded.report()
    assert report.findings == ()
    assert (report.events, report.checkpoints, report.covered, report.opaque) == (311, 3, SIGNED, 0)
    assert "The last 10 events lie under no checkpoint yet" in " ".join(report.sentences)


async def test_one_changed_byte_of_what_was_recorded_is_named_by_its_position(recorded):
    changed = "set_byte(leaf, length(leaf) - 9, get_byte(leaf, length(leaf) - 9) # 1)"
    await recorded.tamper((f"UPDATE log.event SET leaf = {changed} WHERE position = 142",))  # noqa: S608 - constants
    findings = (await recorded.report()).findings
    assert {(one.kind, one.position) for one in findings} >= {("bytes", 142)}
    assert {one.position for one in findings} == {142}
    assert any(
        "Position 142: the recorded bytes are not those that were signed on " in one.sentence for one in findings
    )


SLIPPED_IN = "INSERT INTO log.event_tag VALUES ('larchmoor', 'player:x', {}, 'registration.person_registered', false)"
SET_BACK = """
UPDATE log.park_head SET position = 309, recorded_at = (SELECT recorded_at FROM log.event WHERE position = 309)
"""
TREE = """
UPDATE evidence.tile SET hashes = overlay(hashes PLACING '\\x00'::bytea FROM 65) WHERE level = 0 AND index = 1
"""
LATER = "UPDATE log.event SET occurred_at = occurred_at + interval '1 hour' WHERE position = 305"
TAMPERED = {
    "a tag deleted": ("DELETE FROM log.event_tag WHERE position = 5 AND tag = 'person:ben-5'", {("tag", 5)}),
    "a tag added": (SLIPPED_IN.format(77), {("tag", 77)}),
    "a tag behind the end": (SLIPPED_IN.format(9999), {("tag", 9999)}),
    "a device exchanged": (
        "UPDATE log.event SET device = 'kiosk-2' WHERE position = 33",
        {("column", 33), ("request", 33)},
    ),
    "a time moved": (LATER, {("column", 305)}),
    "an event taken out": ("DELETE FROM log.event WHERE position = 200", {("missing", 200)}),
    "a request taken out": ("DELETE FROM log.request WHERE first_position = 50", {("request", 50)}),
    "the head set back": (SET_BACK, {(kind, at) for at in (310, 311) for kind in ("head", "request", "tag")}),
    "a hash of the tree changed": (TREE, {("tree", 259)}),
    "a checkpoint taken out": ("DELETE FROM evidence.checkpoint WHERE size = 258", {("checkpoint", 258)}),
}


@pytest.mark.parametrize("how", TAMPERED)
async def test_what_a_superuser_changes_is_named(recorded, how):
    statement, expected = TAMPERED[how]
    await recorded.tamper((statement,))
    assert await recorded.named() == expected


WORSE = {
    "the head taken out": (("DELETE FROM log.park_head",), {("head", 311)}),
    "the head set far ahead": (
        ("UPDATE log.park_head SET position = 9223372036854775807",),
        {("head", 4097), *((kind, position) for kind in ("missing", "request") for position in range(312, 412))},
    ),
    "a time outside the calendar": (
        ("UPDATE log.event SET occurred_at = '20000-01-01', recorded_at = 'infinity', day = '0044-03-15 BC' WHERE position = 44",),
        {("column", 44)},
    ),
    "a tag that is none": (("UPDATE log.event SET tags = array_append(tags, NULL) WHERE position = 44",), {("column", 44)}),
    "tags in tags": (("UPDATE log.event SET tags = ARRAY[tags, tags] WHERE position = 44",), {("column", 44)}),
    "a leaf that is none": (
        ("ALTER TABLE log.event ALTER leaf DROP NOT NULL", "UPDATE log.event SET leaf = NULL WHERE position = 44"),
        {("unreadable", 44), ("bytes", 44)},
    ),
    "a hash of the tree too many": (
        ("UPDATE evidence.tile SET hashes = hashes || hashes WHERE level = 1",),
        {("truncated", 512)},
    ),
    "a tile far away": (
        ("INSERT INTO evidence.tile SELECT park, level, 9223372036854775807, hashes FROM evidence.tile WHERE level = 1",),
        {("truncated", 2**62)},
    ),
}  # fmt: skip


@pytest.mark.parametrize("how", WORSE)
async def test_what_would_stop_a_check_that_trusts_its_rows_is_named(recorded, how):
    statements, expected = WORSE[how]
    await recorded.tamper(*((one,) for one in statements))
    assert await recorded.named() == expected


async def test_a_park_that_only_the_folder_outside_knows_is_checked_too(recorded):
    async with recording(recorded.database, recorded.folder, "ravenmoor") as other:
        await other.record(range(5000, 5010))
    for table in ("event_tag", "request", "event", "park_head"):
        await recorded.tamper((f"DELETE FROM log.{table} WHERE park = 'larchmoor'",))  # noqa: S608
    await recorded.tamper(("DELETE FROM evidence.checkpoint",), ("DELETE FROM evidence.tile",))
    gone, whole = await check_all(recorded.database.url, recorded.folder)
    assert (gone.park, whole.park, whole.findings) == ("larchmoor", "ravenmoor", ())
    assert {(one.kind, one.position) for one in gone.findings} == {("head", 0), ("truncated", 0), ("key", 101), *(("checkpoint", size) for size in (101, 258, 301))}  # fmt: skip


async def test_checkpoints_that_were_taken_away_in_both_places_are_missed(recorded):
    await recorded.tamper(("DELETE FROM evidence.checkpoint",))
    (recorded.folder / f"checkpoints-{PARK}.txt").unlink()
    report = await recorded.report()
    assert ("key", 101) in {(one.kind, one.position) for one in report.findings}
    assert "no checkpoint that it signed is kept" in " ".join(report.sentences)


async def test_a_changed_byte_is_listed_however_much_else_was_changed_to_hide_it(recorded):
    await recorded.tamper(
        ("DELETE FROM log.event_tag WHERE position < 290",),
        ("UPDATE log.event SET leaf = set_byte(leaf, 150, get_byte(leaf, 150) # 1) WHERE position = 290",),
    )
    report = await recorded.report()
    assert ("bytes", 290) in {(one.kind, one.position) for one in report.findings}
    assert report.found > len(report.findings)


async def case(recorded, person):
    """The case file of somebody on the record, as the terminal makes it."""
    park = Park(PARK, recorded.log, SystemClock())
    return await case_of(park, recorded.pool, recorded.rounds.sign, "person", person)


async def test_a_case_file_is_made_whatever_of_the_stored_tree_was_taken_out(recorded):
    await recorded.tamper(("DELETE FROM evidence.tile WHERE level = 0 AND index = 0",))
    assert examine(await case(recorded, "person-3")).wrong == ()
    assert await recorded.named() == set()


async def test_no_case_file_is_made_of_what_is_not_what_was_signed(recorded):
    await recorded.tamper((REWRITTEN,))
    (row,) = await recorded.log.between(180, 180)
    with pytest.raises(NotInThatState, match=r"it would not verify\. Event 180: its proof is wrong"):
        await case(recorded, leaf.decode(row.leaf).data.person)


async def test_no_case_file_is_made_of_bytes_that_are_no_event(recorded):
    (row,) = await recorded.log.between(180, 180)
    await recorded.tamper(("UPDATE log.event SET leaf = 'nonsense' WHERE position = 180",))
    with pytest.raises(NotInThatState, match="bytes that are no event"):
        await case(recorded, leaf.decode(row.leaf).data.person)


async def test_an_event_that_was_taken_out_has_no_proof(recorded):
    await recorded.tamper(("DELETE FROM log.event WHERE position = 200",))
    connection = await asyncpg.connect(recorded.database.url)
    try:
        newest = await checkpoints.newest(connection, PARK)
        with pytest.raises(NotFound, match="no event at position 200: it was taken out"):
            await library.proof(connection, recorded.log, 200, newest)
    finally:
        await connection.close()


async def test_two_events_with_one_id_are_named(recorded):
    await recorded.tamper(
        ("ALTER TABLE log.event DROP CONSTRAINT event_park_id_key",),
        ("UPDATE log.event SET id = (SELECT id FROM log.event WHERE position = 10) WHERE position = 20",),
    )
    assert ("repeated", 20) in await recorded.named()


TRUNCATED = (
    ("DELETE FROM log.event WHERE position > 250",),
    ("DELETE FROM log.event_tag WHERE position > 250",),
    ("DELETE FROM log.request WHERE last_position > 250",),
    ("UPDATE log.park_head SET position = 250, recorded_at = (SELECT max(recorded_at) FROM log.event)",),
    ("DELETE FROM evidence.tile",),
    ("DELETE FROM evidence.checkpoint WHERE size > 250",),
)


async def test_a_truncated_log_is_named_though_the_database_agrees_with_itself(recorded):
    await recorded.tamper(*TRUNCATED)
    findings = (await recorded.report()).findings
    assert {one.position for one in findings if one.kind == "truncated"} == {250}
    assert any("The log was truncated." in one.sentence for one in findings)


async def test_who_rewrites_event_index_and_tree_is_named_between_two_checkpoints(recorded):
    await recorded.tamper(
        (REWRITTEN,),
        ("UPDATE log.request SET device = 'kiosk-2' WHERE first_position = 180",),
        ("DELETE FROM evidence.tile",),
    )
    with pytest.raises(NotSigned):
        await recorded.rounds.sign()  # which makes the stored tree again from what stands there now
    (only,) = (await recorded.report()).findings
    assert (only.kind, only.position, only.last) == ("range", 102, 258)


async def test_an_exchanged_checkpoint_is_named(recorded):
    first, second, _ = recorded.outside.notes()
    await recorded.tamper(("UPDATE evidence.checkpoint SET note = $1 WHERE size = 258", first))
    assert await recorded.named() == {("checkpoint", 258)}
    checkpoints = recorded.folder / f"checkpoints-{PARK}.txt"
    checkpoints.write_text(checkpoints.read_text().replace(second, first))
    findings = (await recorded.report()).findings
    assert ("checkpoint", 258) in {(one.kind, one.position) for one in findings}


async def test_a_key_that_is_forged_is_named_wherever_it_was_slipped_in(recorded):
    forger = SigningKey.make(origin_of(PARK, 1))
    made = Checkpoint.at(forger.name, 310, b"\x07" * 32, datetime.now(UTC))
    text = note.sign(made.text, [forger])
    await recorded.tamper(
        ("INSERT INTO evidence.checkpoint VALUES ($1, 1, 310, $2, $3, $4)", PARK, made.root, text, made.signed_at)
    )
    (only,) = (await recorded.report()).findings
    assert "No key that is known has signed this note." in only.sentence
    with (recorded.folder / f"checkpoints-{PARK}.txt").open("ab") as checkpoints:
        checkpoints.write(text.encode() + SEPARATOR)
    with (recorded.folder / f"keys-{PARK}.txt").open("a") as keys:
        keys.write(f"{forger.verifier.text}\n")
    assert await recorded.named() == {("range", SIGNED + 1), ("key", 310)}


async def test_without_the_folder_outside_no_signature_is_believed(recorded, tmp_path):
    (report,) = await check_all(recorded.database.url, tmp_path / "elsewhere")
    assert {one.kind for one in report.findings} >= {"checkpoint"}
    assert report.checkpoints == 0


async def test_nothing_is_found_while_the_park_records_signs_and_takes_a_new_key(recorded):
    async def busy():
        for begin in range(1000, 1600, 60):
            await recorded.record(range(begin, begin + 60))
            await recorded.rounds.sign(new_key=begin == 1300)

    work = asyncio.ensure_future(busy())
    reports = []
    while not work.done():
        reports.append(await recorded.report())
    await work
    reports.append(await recorded.report())
    assert [one for report in reports for one in report.findings] == []
    assert (len(reports) > 2, reports[-1].covered) == (True, reports[-1].events)


class _Kept:
    """A connection that outlives the round it was lent to."""

    def __init__(self, connection):
        self._connection = connection

    def __getattr__(self, name):
        return getattr(self._connection, name)

    def terminate(self):
        pass


async def test_a_check_that_waits_for_a_round_knows_the_key_that_this_round_adopts(recorded):
    signing = await asyncpg.connect(recorded.database.url)

    async def lent():
        return _Kept(signing)

    try:
        async with signing.transaction():
            await signing.execute(LOCK, PARK)
            check = asyncio.ensure_future(recorded.report())
            while not await signing.fetchval(  # noqa: ASYNC110 - PostgreSQL offers no event to wait on
                "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted"
            ):
                await asyncio.sleep(0.01)
            await Rounds(Park(PARK, recorded.log, SystemClock()), recorded.outside, lent).sign(new_key=True)
        assert (await check).findings == ()
    finally:
        await signing.close()


async def test_each_park_of_a_database_is_checked_by_itself(recorded):
    async with recording(recorded.database, recorded.folder, "ravenmoor") as other:
        await other.record(range(5000, 5010))
        await other.rounds.sign()
        await recorded.tamper(
            ("UPDATE log.event SET park = 'ravenmoor', position = 12 WHERE park = 'larchmoor' AND position = 3",)
        )
        reports = await check_all(recorded.database.url, recorded.folder)
    assert [report.park for report in reports] == ["larchmoor", "ravenmoor"]
    assert {(one.kind, one.position) for one in reports[0].findings} == {("missing", 3)}
    assert {(one.kind, one.position) for one in reports[1].findings} == {("head", 12)}


async def test_whoever_finds_the_log_truncated_is_told_what_to_do_next(recorded, tmp_path):
    run = partial(terminal(recorded.database, tmp_path), "audit", "check")
    whole = await asyncio.to_thread(run)
    assert (whole.returncode, "fieldledger restore" in whole.stdout) == (0, False), whole.stdout
    await recorded.tamper(*TRUNCATED)
    found = await asyncio.to_thread(run)
    assert found.returncode == 1
    assert "The log was truncated." in found.stdout
    assert "begin a new epoch of the log: fieldledger restore" in found.stdout


async def test_the_command_prints_sentences_or_json_and_exits_with_one_where_anything_was_found(recorded, tmp_path):
    (tmp_path / "service.secret").write_text("tests-only")

    def run(*options):
        environment = {"DATABASE_URL": recorded.database.admin_url, "FIELDLEDGER_STATE": str(tmp_path)}
        command = [sys.executable, "-m", "deploy.main", "audit", "check", *options]
        return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)

    clean = await asyncio.to_thread(run)
    assert (clean.returncode, clean.stdout.splitlines()[0]) == (0, "larchmoor: no findings in 311 events.")
    await recorded.tamper(("DELETE FROM log.event_tag WHERE position = 5 AND tag = 'person:ben-5'",))
    found = await asyncio.to_thread(run, "--json", "--park", PARK)
    (one,) = json.loads(found.stdout)["findings"]
    assert (found.returncode, one["position"], one["tag"]) == (1, 5, "person:ben-5")
    await recorded.tamper(("REVOKE SELECT ON log.request FROM fieldledger_service",))
    refused = await asyncio.to_thread(run)
    assert refused.returncode == 1
    assert refused.stderr.startswith(
        "fieldledger: the database cannot be checked (permission denied for table request)"
    )
    nowhere = await asyncio.to_thread(run, "--park", "nowhere")
    assert (nowhere.returncode, nowhere.stderr) == (1, "fieldledger: There is no park nowhere in this database.\n")
