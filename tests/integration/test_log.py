"""The log against a real database: what is recorded, what is refused, and what is read back."""

import asyncio
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import asyncpg
import msgspec
import pytest

from services.core.clock import SetClock
from services.core.log import Conflict, Head, Log, ParkNotOpen, RequestReused
from tests.integration.log_park import append, draft, nothing_newer, opened, positions

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(120)]


@pytest.fixture
def anyio_backend():
    return "asyncio"


@pytest.fixture
async def log(database):
    async with opened(database.url) as log:
        yield log


async def test_positions_are_dense_and_every_caller_gets_its_own(log):
    async def caller():
        return [await log.append(append(draft("player:1"), draft("player:2"))) for _ in range(20)]

    answers = [answer for answers in await asyncio.gather(*(caller() for _ in range(64))) for answer in answers]
    assert sorted(answer.first for answer in answers) == list(range(1, 2 * 64 * 20, 2))
    assert all(answer.last == answer.first + 1 for answer in answers)
    assert positions(await log.tail(0, 10_000)) == list(range(1, 2 * 64 * 20 + 1))
    assert await log.head() == Head(epoch=1, position=2 * 64 * 20)


async def test_the_events_of_one_append_keep_their_order_under_load(log):
    async def caller(number):
        answer = await log.append(append(*(draft(f"player:{number}", body=b"%d" % index) for index in range(7))))
        return [row.leaf.rpartition(b"\n")[2] for row in await log.between(answer.first, answer.last)]

    assert await asyncio.gather(*(caller(number) for number in range(64))) == [[b"%d" % i for i in range(7)]] * 64


async def test_a_request_that_comes_again_gets_its_first_answer_and_records_nothing(log):
    asked = append(draft("player:1"), draft("player:1"))
    first = await log.append(asked)
    await log.append(append(draft("player:2")))
    again = await log.append(asked)
    assert again == msgspec.structs.replace(first, repeat=True)
    assert (await log.head()).position == 3


async def test_a_request_that_comes_again_is_answered_even_if_its_condition_would_now_fail(log):
    asked = append(draft("player:1"), conditions=[nothing_newer("player:1", 0)])
    await log.append(asked)
    assert (await log.append(asked)).repeat


async def test_the_same_request_sent_by_many_at_once_is_recorded_once(log):
    asked = append(draft("player:1"))
    answers = await asyncio.gather(*(log.append(asked) for _ in range(64)))
    assert {(answer.first, answer.last) for answer in answers} == {(1, 1)}
    assert sorted(answer.repeat for answer in answers) == [False] + [True] * 63
    assert (await log.head()).position == 1


@pytest.mark.parametrize("other", [{"device": "kiosk-2"}, {"digest": b"e" * 32}])
async def test_an_id_used_before_by_another_device_or_for_other_bytes_is_refused(log, other):
    request_id = uuid4()
    await log.append(append(draft("player:1"), id=request_id))
    with pytest.raises(RequestReused):
        await log.append(append(draft("player:1"), id=request_id, **other))
    assert (await log.head()).position == 1


async def test_an_event_id_that_is_in_the_log_is_refused_under_another_request(log):
    event = draft("player:1")
    await log.append(append(event))
    with pytest.raises(RequestReused):
        await log.append(append(event))
    assert (await log.head()).position == 1


async def test_a_newer_event_with_the_tag_is_a_conflict_that_names_it_and_nothing_is_recorded(log):
    await log.append(append(draft("player:1", "field:woods")))
    with pytest.raises(Conflict) as conflict:
        await log.append(
            append(
                draft("player:2"),
                draft("player:1"),
                conditions=[nothing_newer("player:2", 0), nothing_newer("player:1", 0)],
            )
        )
    assert conflict.value.tag == "player:1"
    assert (await log.head()).position == 1


async def test_an_event_that_was_read_is_no_conflict_nor_one_of_another_type_or_tag(log):
    await log.append(append(draft("player:1", type="toy.seen")))
    await log.append(append(draft("player:1", type="toy.washed")))
    await log.append(append(draft("player:11", type="toy.seen")))
    read = [nothing_newer("player:1", 1, "toy.seen", "toy.heard"), nothing_newer("player:1", 2)]
    assert (await log.append(append(draft("player:1"), conditions=read))).first == 4
    with pytest.raises(Conflict):
        await log.append(append(draft("player:1"), conditions=[nothing_newer("player:1", 1, "toy.washed")]))


async def test_of_many_appends_on_the_same_condition_one_is_recorded(log):
    asked = (append(draft("player:1"), conditions=[nothing_newer("player:1", 0)]) for _ in range(64))
    outcomes = await asyncio.gather(*(log.append(one) for one in asked), return_exceptions=True)
    assert sum(isinstance(outcome, Conflict) for outcome in outcomes) == 63
    assert (await log.head()).position == 1


async def test_an_append_without_events_is_a_mistake(log):
    with pytest.raises(ValueError, match="at least one event"):
        await log.append(append())


async def test_the_leaf_is_framed_to_the_byte(database):
    moment = datetime(2026, 5, 2, 10, 30, 0, 123456, tzinfo=UTC)
    async with opened(database.url, clock=SetClock(moment)) as log:
        await log.append(append(draft("player:1")))
        answer = await log.append(append(draft("player:1", body='{"note":"é"}'.encode())))
        [row] = await log.tail(1)
    # 1777717800 is 2026-05-02T10:30:00Z by `date -u -d 2026-05-02T10:30:00Z +%s` (GNU coreutils).
    assert row.leaf == b'fieldledger leaf 1\nnorth\n1\n2\n1777717800123456\n{"note":"\xc3\xa9"}'
    assert answer.recorded_at == moment


async def test_the_time_of_recording_never_goes_back(database):
    clock = SetClock(datetime(2026, 5, 2, 10, 30, tzinfo=UTC))
    async with opened(database.url, clock=clock) as log:
        first = await log.append(append(draft("player:1")))
        clock.advance(timedelta(minutes=-5))
        second = await log.append(append(draft("player:1")))
    assert second.recorded_at == first.recorded_at


async def test_the_columns_say_what_the_draft_said(log, database):
    event = draft("player:1", "field:woods", type="toy.seen", carries=["field:woods"])
    answer = await log.append(append(event))
    connection = await asyncpg.connect(database.url)
    row = await connection.fetchrow("SELECT * FROM log.event")
    tags = await connection.fetch("SELECT tag, position, type, carries FROM log.event_tag ORDER BY tag")
    await connection.close()
    assert (row["park"], row["epoch"], row["position"], row["id"]) == ("north", 1, 1, event.id)
    assert (row["type"], row["day"], row["occurred_at"], row["recorded_at"], row["device"], row["tags"]) == (
        "toy.seen",
        event.day,
        event.occurred_at,
        answer.recorded_at,
        "kiosk-1",
        ["player:1", "field:woods"],
    )
    assert [tuple(tag) for tag in tags] == [("field:woods", 1, "toy.seen", True), ("player:1", 1, "toy.seen", False)]


async def test_a_reading_has_the_events_of_each_tag_in_order_and_the_head(log):
    await log.append(append(draft("player:1"), draft("player:2"), draft("player:1", "player:2")))
    reading = await log.read({"player:1": 0, "player:2": 2, "player:3": 0})
    assert reading.head == Head(epoch=1, position=3)
    assert {tag: positions(rows) for tag, rows in reading.events.items()} == {
        "player:1": [1, 3],
        "player:2": [3],
        "player:3": [],
    }
    assert reading.events["player:1"] == [*await log.between(1, 1), *await log.between(3, 3)]


async def test_a_reading_starts_at_the_latest_event_that_carries_the_tag(log):
    carrying = draft("marker:7", "player:1", carries=["marker:7"])
    await log.append(append(draft("marker:7"), carrying))
    await log.append(append(draft("marker:7"), draft("marker:7", carries=["marker:7"]), draft("marker:7")))
    reading = await log.read({"marker:7": 0, "player:1": 0})
    assert positions(reading.events["marker:7"]) == [4, 5]
    assert positions(reading.events["player:1"]) == [2]
    assert positions((await log.read({"marker:7": 3})).events["marker:7"]) == [4, 5]
    assert positions((await log.read({"marker:7": 4})).events["marker:7"]) == [5]


async def test_the_tail_is_bounded_and_between_includes_both_ends(log):
    await log.append(append(*(draft("player:1") for _ in range(10))))
    assert positions(await log.tail(3, 4)) == [4, 5, 6, 7]
    assert positions(await log.tail(10)) == []
    assert positions(await log.between(9, 12)) == [9, 10]
    assert await log.between(5, 4) == []


async def test_parks_share_a_database_and_nothing_else(log, database):
    async with opened(database.url, park="south") as south:
        await log.append(append(draft("player:1")))
        condition = nothing_newer("player:1", 0)
        assert (await south.append(append(draft("player:1"), conditions=[condition]))).first == 1
        assert positions((await south.read({"player:1": 0})).events["player:1"]) == [1]
        assert len(await south.tail(0)) == 1


async def test_opening_a_park_again_changes_nothing(log):
    await log.append(append(draft("player:1")))
    await log.open_park()
    assert await log.head() == Head(epoch=1, position=1)


async def test_a_park_that_is_not_open_cannot_be_read(log):
    stranger = Log(log._pool, "nowhere", SetClock(datetime(2026, 5, 2, tzinfo=UTC)))
    with pytest.raises(ParkNotOpen):
        await stranger.head()
    with pytest.raises(ParkNotOpen):
        await stranger.read({"player:1": 0})


async def test_no_call_scans_a_table_even_if_its_statistics_are_from_when_it_was_nearly_empty(log, database):
    await log.append(append(draft("player:0", "field:woods", carries=["field:woods"])))
    await _analyze(database)
    for number in range(30):
        head = await log.head()
        await log.read({f"player:{number}": 0, "field:woods": 0})
        conditions = [nothing_newer(f"player:{number}", head.position, "toy.seen")]
        await log.append(append(draft(f"player:{number}", "field:woods"), conditions=conditions))
        await log.tail(0, 5)
    scans = await _scans(log, database)
    assert set(scans) == {"park_head", "event", "event_tag", "request"}
    assert {table: sequential for table, (sequential, _) in scans.items() if table != "park_head"} == dict.fromkeys(
        ("event", "event_tag", "request"), 0
    )
    assert all(by_index > 0 for _, by_index in scans.values())


async def _analyze(database):
    connection = await asyncpg.connect(database.admin_url)
    await connection.execute("ANALYZE")
    await connection.execute("SELECT pg_stat_reset()")
    await connection.close()


async def _scans(log, database):
    await log._pool.close()  # a session hands in its statistics when it ends, at the latest
    connection = await asyncpg.connect(database.admin_url)
    try:
        async with asyncio.timeout(30):
            while True:
                rows = await connection.fetch(
                    "SELECT relname, seq_scan, idx_scan FROM pg_stat_user_tables"
                    " WHERE schemaname = 'log' AND relname IN ('park_head', 'event', 'event_tag', 'request')"
                )
                scans = {name: (sequential, by_index) for name, sequential, by_index in rows}
                if all(by_index for _, by_index in scans.values()):
                    return scans
                await asyncio.sleep(0.1)
    finally:
        await connection.close()
