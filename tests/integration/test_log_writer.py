"""Group commit: what goes into one call, whose failure is whose, and what a lost connection does (nothing)."""

import asyncio
from contextlib import asynccontextmanager, suppress
from datetime import UTC, datetime

import asyncpg
import pytest

from services.core.append import Appended, Conflict, OutcomeUnknown
from services.core.writer import CALLS, MOST_EVENTS, Writer
from tests.integration.log_park import PARK, append, draft, nothing_newer, opened, positions

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(120)]


@pytest.fixture
def anyio_backend():
    return "asyncio"


class Database:
    """Stands in for the database where a test must decide when it answers: it keeps the calls that reach it."""

    def __init__(self):
        self.calls = []
        self.open = asyncio.Event()
        self.fails = lambda _appends: None

    async def write(self, appends):
        self.calls.append(list(appends))
        await self.open.wait()
        error = self.fails(appends)
        if error:
            raise error
        return [Appended(1, 1, 1, datetime.now(UTC), repeat=False) for _ in appends]


@pytest.fixture
def slow():
    return Database()


async def _busy(writer):
    """Occupy every call, so that what is appended from here on waits together."""
    tasks = []
    for number in range(CALLS):
        tasks.append(asyncio.create_task(writer.append(append(draft(f"busy:{number}")))))
        await _settle()
    return tasks


async def _settle():
    for _ in range(5):
        await asyncio.sleep(0)


@asynccontextmanager
async def _waiting(slow, *appends):
    """The tasks of appends that waited together behind calls that were under way."""
    async with Writer(slow.write, PARK) as writer:
        busy = await _busy(writer)
        tasks = [asyncio.create_task(writer.append(one)) for one in appends]
        await _settle()
        slow.open.set()
        await asyncio.gather(*busy)
        yield tasks
        await asyncio.wait(tasks)


async def test_appends_that_wait_at_the_same_time_share_a_call(slow):
    appends = [append(draft(f"player:{number}")) for number in range(20)]
    async with _waiting(slow, *appends):
        pass
    assert slow.calls[CALLS:] == [appends]


async def test_an_append_that_conditions_on_an_earlier_ones_tag_waits_for_the_next_call_and_so_do_those_behind_it(slow):
    first = append(draft("player:1"))
    second = append(draft("player:2"), conditions=[nothing_newer("player:1", 0)])
    third = append(draft("player:3"), conditions=[nothing_newer("player:2", 0)])
    other = append(draft("player:4"), conditions=[nothing_newer("player:5", 0)])
    async with _waiting(slow, first, second, third, other):
        pass
    assert slow.calls[CALLS:] == [[first, other], [second], [third]]


async def test_the_same_request_twice_is_never_in_one_call(slow):
    asked = append(draft("player:1"))
    async with _waiting(slow, asked, asked):
        pass
    assert slow.calls[CALLS:] == [[asked], [asked]]


async def test_a_call_is_bounded_in_events_and_bytes(slow):
    many = [append(*(draft("player:1") for _ in range(MOST_EVENTS // 2))) for _ in range(3)]
    large = [append(draft("player:1", body=b"x" * 700_000)) for _ in range(2)]
    async with _waiting(slow, *many, *large):
        pass
    assert [len(call) for call in slow.calls[CALLS:]] == [2, 2, 1]


async def test_an_append_beyond_the_bounds_goes_alone(slow):
    huge = append(*(draft("player:1") for _ in range(MOST_EVENTS + 1)))
    async with _waiting(slow, huge, append(draft("player:2"))):
        pass
    assert [len(call) for call in slow.calls[CALLS:]] == [1, 1]


async def test_an_append_that_the_database_cannot_take_fails_alone(slow):
    poison = append(draft("player:0"))
    slow.fails = lambda appends: ValueError("poison") if poison in appends else None
    async with _waiting(slow, append(draft("player:1")), poison, append(draft("player:2"))) as tasks:
        outcomes = await asyncio.gather(*tasks, return_exceptions=True)
    assert [type(outcome) for outcome in outcomes] == [Appended, ValueError, Appended]


async def test_a_caller_that_goes_away_takes_nothing_back(slow):
    asked = append(draft("player:1"))
    async with _waiting(slow, asked, append(draft("player:2"))) as (leaving, staying):
        leaving.cancel()
        assert isinstance(await staying, Appended)
    assert asked in slow.calls[-1]


async def test_what_waits_is_recorded_before_the_writer_closes_and_nothing_after(slow):
    async with Writer(slow.write, PARK) as writer:
        tasks = [asyncio.create_task(writer.append(append(draft(f"player:{number}")))) for number in range(100)]
        await _settle()
        asyncio.get_running_loop().call_later(0.05, slow.open.set)
    assert all(isinstance(task.result(), Appended) for task in tasks)
    with pytest.raises(RuntimeError, match="not open"):
        await writer.append(append(draft("player:1")))


async def test_the_same_call_is_sent_again_while_the_outcome_is_unknown(slow):
    slow.open.set()
    slow.fails = lambda _appends: ConnectionResetError() if len(slow.calls) < 3 else None
    async with Writer(slow.write, PARK) as writer:
        asked = append(draft("player:1"))
        assert isinstance(await writer.append(asked), Appended)
    assert slow.calls == [[asked]] * 3


async def test_a_caller_is_told_when_the_outcome_stays_unknown_and_the_next_one_is_served(slow):
    slow.open.set()
    slow.fails = lambda _appends: ConnectionRefusedError()
    async with Writer(slow.write, PARK, patience=0.3) as writer:
        with pytest.raises(OutcomeUnknown):
            await writer.append(append(draft("player:1")))
        slow.fails = lambda _appends: None
        assert isinstance(await writer.append(append(draft("player:1"))), Appended)


async def test_what_the_database_refuses_harms_no_neighbour(database):
    async with opened(database.url) as log:
        bad = append(draft("player:1", type="nul\x00"))
        good = [append(draft(f"player:{number}")) for number in range(20)]
        outcomes = await asyncio.gather(*(log.append(one) for one in [*good, bad, *good]), return_exceptions=True)
        assert isinstance(outcomes[20], asyncpg.PostgresError)
        assert sum(isinstance(outcome, Appended) and not outcome.repeat for outcome in outcomes) == 20
        assert positions(await log.tail(0)) == list(range(1, 21))


async def test_cancelled_callers_leave_neither_gaps_nor_a_stuck_log(database):
    async with opened(database.url) as log:
        for round_number in range(20):
            tasks = [asyncio.create_task(log.append(append(draft(f"player:{number}")))) for number in range(30)]
            await asyncio.sleep(0.001 * (round_number % 5))
            for task in tasks[::2]:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
        last = await log.append(append(draft("player:1")))
        assert last.first >= 20 * 15 + 1
        assert positions(await log.tail(0, 1000)) == list(range(1, last.last + 1))


async def test_killed_connections_under_load_lose_nothing_and_double_nothing(database):
    async with opened(database.url) as log:
        answered, killed = {}, []

        async def caller(number):
            turn = 0
            while turn < 100 or (len(killed) < 4 and turn < 2000):
                turn += 1
                one = append(draft(f"player:{number}", body=b"%d/%d" % (number, turn)))
                answer = await log.append(one)
                answered[one.request.id] = (answer.first, one.events[0].body)

        kills = asyncio.create_task(_kill_until_cancelled(database.admin_url, killed))
        await asyncio.gather(*(caller(number) for number in range(32)))
        kills.cancel()
        with suppress(asyncio.CancelledError):
            await kills
        rows = await log.tail(0, 100_000)
        assert positions(rows) == list(range(1, len(rows) + 1))
        leaves = {row.position: row.leaf for row in rows}
        assert len(rows) == len(answered) >= 3200
        assert all(leaves[position].endswith(b"\n" + body) for position, body in answered.values())
    assert len(killed) > 3


async def _kill_until_cancelled(admin_url, killed):
    connection = await asyncpg.connect(admin_url)
    try:
        while True:
            await asyncio.sleep(0.05)
            killed.extend(
                await connection.fetch(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                    " WHERE usename = 'fieldledger_service' AND datname = current_database() AND state = 'active'"
                )
            )
    finally:
        await connection.close()


async def test_two_processes_write_one_log_and_positions_stay_dense(database):
    async with opened(database.url) as one, opened(database.url) as two:

        async def caller(log, number):
            conflicts = 0
            for _ in range(20):
                head = (await log.head()).position
                try:
                    await log.append(append(draft("field:woods"), conditions=[nothing_newer("field:woods", head)]))
                except Conflict:
                    conflicts += 1
                await log.append(append(draft(f"player:{number}")))
            return conflicts

        conflicts = sum(await asyncio.gather(*(caller(log, number) for number in range(16) for log in (one, two))))
        assert conflicts > 0
        assert positions(await one.tail(0, 5000)) == list(range(1, 2 * 32 * 20 - conflicts + 1))
