"""The relay against a real database and a real bus."""

import asyncio
from collections import Counter

import asyncpg
import nats
import pytest

from services.core import relay as relay_module
from services.core.stream import LaterEpoch, Stream, WrongSequence
from tests.integration.bus_park import eventually, opened, running

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(120)]


@pytest.fixture
def anyio_backend():
    return "asyncio"


@pytest.fixture
async def park(database, nats_urls):
    async with opened(database, nats_urls) as park:
        yield park


async def test_every_event_is_published_once_at_the_sequence_of_its_position(park):
    await asyncio.gather(*(park.record(37) for _ in range(40)))
    async with running(park.relay().run()):
        await park.relayed()
        await asyncio.gather(*(park.record(3) for _ in range(40)))
        await park.relayed()
    assert len(await park.leaves()) == 40 * 37 + 40 * 3
    assert await park.streamed() == await park.leaves()


async def test_the_subject_names_park_service_and_event(park):
    await park.record(2)
    async with running(park.relay().run()):
        await park.relayed()
    client = await nats.connect(park.urls.service)
    message = await client.jetstream().get_msg(park.stream.name, seq=2)
    await client.close()
    assert message.subject == f"park.{park.name}.toy.counted"


async def test_an_event_is_brought_to_the_bus_by_the_hint_of_its_commit_and_awaits_no_poll(park, monkeypatch):
    monkeypatch.setattr(relay_module, "_POLL", 3600)
    async with running(park.relay().run()):
        await park.record(1)
        await park.relayed()
        for _ in range(5):
            await park.record(1)
            await park.relayed()


async def test_a_stale_batch_is_refused_whole(park):
    await park.record(5)
    async with running(park.relay().run()):
        await park.relayed()
    before = await park.streamed()
    leaves = [row.leaf for row in before]
    for after in (0, 4, 6):
        with pytest.raises(WrongSequence):
            await park.relay_bus.publish(park.stream, leaves[:3], after)
    assert await park.streamed() == before


async def test_two_relays_that_both_believe_they_lead_publish_nothing_twice(park, monkeypatch):
    monkeypatch.setattr(relay_module, "_LEAD", "SELECT $1::text IS NOT NULL")
    async with opened(park.database, park.urls, park.name) as other, running(park.relay().run(), other.relay().run()):
        await asyncio.gather(*(park.record(20) for _ in range(100)))
        await park.relayed()
    assert await park.streamed() == await park.leaves()


async def test_the_second_relay_stands_by_and_takes_over(park):
    async with opened(park.database, park.urls, park.name) as other:
        first, second = park.relay(), other.relay()
        async with running(second.run()):
            async with running(first.run()):
                await park.record(10)
                await park.relayed()
                assert Counter([first.state, second.state]) == {"relaying": 1, "standby": 1}
            await park.record(10)
            await park.relayed()
            assert second.state == "relaying"
    assert await park.streamed() == await park.leaves()


async def test_a_leader_whose_connection_dies_steps_down_and_nothing_is_lost(park):
    admin = await asyncpg.connect(park.database.admin_url)
    relay = park.relay()
    async with running(relay.run()):
        for _ in range(5):
            await asyncio.gather(*(park.record(10) for _ in range(10)))
            await admin.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_locks WHERE locktype = 'advisory' AND pid <> pg_backend_pid()"
            )
        await park.relayed()
    await admin.close()
    assert await park.streamed() == await park.leaves()


async def test_a_batch_that_was_never_committed_leaves_no_trace(park):
    await park.record(3)
    relay = park.relay()
    async with running(relay.run()):
        await park.relayed()
    client = await nats.connect(park.urls.relay)
    for number in (1, 2):
        headers = {"Nats-Batch-Id": "broken-off", "Nats-Batch-Sequence": str(number)}
        await client.publish(f"park.{park.name}.toy.counted", b"half", headers=headers)
    await client.flush()
    await client.close()
    await park.record(600)
    async with running(park.relay().run()):
        await park.relayed()
    assert await park.streamed() == await park.leaves()


async def test_a_deleted_stream_is_made_again_and_refilled_from_the_log(park):
    await park.record(700)
    client = await nats.connect(park.urls.relay)
    async with running(park.relay().run()):
        await park.relayed()
        await client.jetstream().delete_stream(park.stream.name)
        await park.record(1)
        await park.relayed()
        assert await park.streamed() == await park.leaves()
        await client.jetstream().delete_stream(park.stream.name)
        await park.relayed()  # and without anything new to publish
    await client.close()
    assert await park.streamed() == await park.leaves()


async def test_a_stream_ahead_of_the_log_halts_the_relay_and_is_left_alone(park):
    await park.record(5)
    async with running(park.relay().run()):
        await park.relayed()
    await park.relay_bus.publish(park.stream, [(await park.leaves())[0].leaf], after=5)
    ahead = await park.streamed()
    relay = park.relay()
    async with running(relay.run()):
        await eventually(lambda: _is(relay, "halted"))
        assert relay.why == f"stream {park.stream.name} ends at 6, but the log at 5"
        assert relay_module.HALTED.labels(park.name)._value.get() == 1
        await park.record(3)
        await asyncio.sleep(1)
        assert relay.state == "halted"
    assert await park.streamed() == ahead


async def test_a_stream_that_ends_in_other_bytes_than_the_log_halts_the_relay(park):
    await park.record(5)
    await park.relay_bus.make(park.stream)
    leaves = [row.leaf for row in await park.leaves()]
    await park.relay_bus.publish(park.stream, [*leaves[:4], leaves[4].replace(b"kiosk-1", b"kiosk-2")], after=0)
    relay = park.relay()
    async with running(relay.run()):
        await eventually(lambda: _is(relay, "halted"))
        assert relay.why == f"stream {park.stream.name} holds other bytes than the log at position 5"


async def test_a_new_epoch_gets_a_stream_of_its_own_and_the_old_one_stands_aside(park):
    await park.record(30)
    async with running(park.relay().run()):
        await park.relayed()
        old = await park.streamed()
        admin = await asyncpg.connect(park.database.admin_url)
        await admin.execute("UPDATE log.park_head SET epoch = 2 WHERE park = $1", park.name)
        await admin.close()
        await park.relayed(epoch=2)
        await park.record(30)
        await park.relayed(epoch=2)
    assert await park.streamed(epoch=2) == await park.leaves()
    assert await park.streamed(epoch=1) == old


async def test_a_log_of_an_earlier_epoch_than_the_streams_is_refused(park):
    await park.relay_bus.make(Stream(park.name, 2))
    with pytest.raises(LaterEpoch):
        await park.relay_bus.make(Stream(park.name, 1))
    relay = park.relay()
    async with running(relay.run()):
        await eventually(lambda: _is(relay, "halted"))


async def test_a_stream_may_begin_late_and_still_keep_sequence_and_position_alike(park):
    await park.record(50)
    await park.relay_bus.make(park.stream, first=41)
    async with running(park.relay().run()):
        await park.relayed()
    consumer = await park.service_bus.consume(park.stream, "late", after=0)
    assert await fetched(consumer, 10) == (await park.leaves())[40:]


async def fetched(consumer, number):
    """So many rows: each fetch brings what has arrived by then."""
    rows = []
    async with asyncio.timeout(30):
        while len(rows) < number:
            rows += await consumer.fetch(2)
    return rows


async def test_the_service_account_may_read_the_stream_but_never_publish(park):
    await park.record(1)
    async with running(park.relay().run()):
        await park.relayed()
    before = await park.streamed()
    client = await nats.connect(park.urls.service, error_cb=_ignore)
    await client.publish(f"park.{park.name}.toy.counted", b"forged")
    with pytest.raises(Exception, match=r"(?i)timeout|permission"):
        await client.jetstream(timeout=1).delete_stream(park.stream.name)
    await client.close()
    assert await park.streamed() == before


async def _is(relay, state):
    return relay.state == state


async def _ignore(_error):
    pass
