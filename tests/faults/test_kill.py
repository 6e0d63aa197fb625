"""Kill -9 of the service, of NATS and of PostgreSQL in the middle of a load: what was acknowledged is there, once and in order."""

import asyncio
import hashlib

import httpx
import msgspec
import nats as client
import pytest

from contracts import leaf
from contracts.envelope import Event
from contracts.words import Role
from deploy.embedded import nats, postgres
from deploy.migrate import migrate
from deploy.services import PROJECTIONS
from services.core.auth import Devices
from services.core.clock import SystemClock
from services.core.pool import Pool
from services.core.rebuild import check
from services.core.stream import Stream
from tests.faults.handheld import Handheld, patiently
from tests.faults.stand import Stand
from tests.integration.log_park import opened
from tests.servers import temporary_state

pytestmark = pytest.mark.timeout(240)

PARK = "larchmoor"
ROLES: frozenset[Role] = frozenset({"desk", "gear", "chrono", "manager"})
HANDHELDS = 6
ROUNDS = 3
BETWEEN = 1.0
"""Seconds of load before each kill."""


@pytest.fixture
def stand():
    with temporary_state() as state, postgres(state) as database, nats(state) as bus:
        stand = Stand(state, migrate(database, "tests-only"), bus, PARK)
        try:
            yield stand
        finally:
            stand.end_service()


def test_what_was_acknowledged_survives_kill_9_of_service_nats_and_postgres_once_and_in_order(stand):
    asyncio.run(killed_under_load(stand))


async def killed_under_load(stand):
    address = f"http://127.0.0.1:{stand.port}"
    async with httpx.AsyncClient(base_url=address, timeout=httpx.Timeout(40, connect=2)) as http:
        await stand.until_ready(http)
        handhelds = await enrolled(stand, http)
        stop = asyncio.Event()
        async with asyncio.TaskGroup() as work:
            for one in handhelds:
                work.create_task(one.work(stop))
            for kill in (stand.kill_service, stand.kill_nats, stand.kill_postgres) * ROUNDS:
                await asyncio.sleep(BETWEEN)
                before = acknowledged(handhelds)
                kill()
                await until(handhelds, before + 2 * HANDHELDS)
            await until(handhelds, 200)
            stop.set()
        async with opened(stand.database_url, PARK) as log:
            rows = await log.tail(0, 1_000_000)
        await stand.until_caught_up(http, len(rows))
    assert sum(one.retries for one in handhelds) >= ROUNDS, "no kill was felt"
    each_is_there_once_and_in_order(rows, handhelds)
    await projections_equal_the_log(stand)
    assert await streamed(stand, len(rows)) == [row.leaf for row in rows]


async def enrolled(stand, http):
    """The handhelds, one of which has opened the park."""
    pool = Pool(stand.database_url)
    names = [f"handheld-{number}" for number in range(HANDHELDS)]
    keys = [await Devices(pool, SystemClock()).enrol(PARK, name, ROLES, "field") for name in names]
    await pool.close()
    handhelds = [Handheld(http, PARK, name, key) for name, key in zip(names, keys, strict=True)]
    await handhelds[0].send("velocity/register-chrono", {"chrono": "k1"})
    await handhelds[0].send("games/configure-field", {"field": "birch", "title": "Birch"})
    return handhelds


def acknowledged(handhelds):
    return sum(len(one.acknowledged) for one in handhelds)


async def until(handhelds, number):
    """Work goes on until so much is acknowledged."""
    async for _ in patiently():
        if acknowledged(handhelds) >= number:
            return


def each_is_there_once_and_in_order(rows, handhelds):
    """Positions dense, no id twice, and the log holds what was acknowledged and nothing else, at the place that the receipt names."""
    assert [row.position for row in rows] == list(range(1, len(rows) + 1))
    events = [leaf.decode(row.leaf) for row in rows]
    assert len({event.id for event in events}) == len(events)
    receipts = [event for one in handhelds for receipt in one.acknowledged for event in receipt["events"]]
    named = {receipt["position"]: (receipt["id"], receipt["leaf_sha256"]) for receipt in receipts}
    held = {
        row.position: (str(event.id), hashlib.sha256(b"\0" + row.leaf).hexdigest())
        for row, event in zip(rows, events, strict=True)
    }
    assert named == held
    assert len(receipts) == len(rows)
    sent = [msgspec.json.decode(row.leaf.split(b"\n", 5)[5], type=Event) for row in rows]
    for one in handhelds:
        numbers = [event.device_seq for event in sent if event.device == one.name]
        assert numbers == list(range(1, len(one.acknowledged) + 1))


async def projections_equal_the_log(stand):
    pool = Pool(stand.database_url)
    async with opened(stand.database_url, PARK) as log:
        for projection in PROJECTIONS:
            assert await check(projection, log, pool) is None
    await pool.close()


async def streamed(stand, last):
    """The whole stream, read by a client that is none of ours."""
    connection = await client.connect(stand.bus.service)
    jetstream = connection.jetstream()
    name = Stream(PARK, 1).name
    assert (await jetstream.stream_info(name)).state.last_seq == last
    found = [(await jetstream.get_msg(name, seq=sequence)).data for sequence in range(1, last + 1)]
    await connection.close()
    return found
