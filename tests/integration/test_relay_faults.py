"""The relay while processes around it are killed in the middle of a load."""

import asyncio
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from deploy import embedded
from tests.integration.bus_park import opened, running
from tests.servers import temporary_state

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(180)]


@pytest.fixture
def anyio_backend():
    return "asyncio"


@pytest.fixture
def state():
    with temporary_state() as folder:
        yield folder


async def load(park, batches=120, size=12):
    """Acknowledged appends, in a steady stream of some seconds."""
    for _ in range(batches):
        await asyncio.gather(park.record(size), park.record(size))
        await asyncio.sleep(0.02)


async def test_a_relay_killed_in_the_middle_of_a_load_leaves_no_gap_and_no_repeat(database, nats_urls):
    async with opened(database, nats_urls) as park:
        command = [sys.executable, "-m", "tests.integration.relay_process", database.url, nats_urls.relay, park.name]
        await park.record(5000)  # so that the first one is killed while it refills
        loading = asyncio.ensure_future(load(park))
        for seconds in (1.0, 1.2, 1.5):
            relay = subprocess.Popen(command, cwd=Path(__file__).parents[2])  # noqa: ASYNC220
            await asyncio.sleep(seconds)
            relay.kill()
            relay.wait()
        await loading
        async with running(park.relay().run()):
            await park.relayed()
        assert await park.streamed() == await park.leaves()


async def test_nats_killed_and_restarted_during_a_load_harms_neither_the_log_nor_the_stream(database, state):
    with embedded.nats(state) as urls:
        async with opened(database, urls) as park, running(park.relay().run()):
            loading = asyncio.ensure_future(load(park))
            killed = set()
            for _ in range(3):
                await asyncio.sleep(1)
                killed.add(kill(state))
            assert len(killed) == 3
            await loading
            assert (await park.log.head()).position == 120 * 24
            await park.relayed()
            assert await park.streamed() == await park.leaves()


async def test_with_the_bus_away_the_park_goes_on_and_the_stream_is_level_soon_after_it_is_back(database, state):
    with embedded.nats(state) as urls:
        pass
    async with opened(database, urls) as park:
        relay = park.relay()
        async with running(relay.run()):
            await load(park, batches=20)
            assert relay.state == "bus down"
            assert (await park.log.head()).position == 20 * 24
            with embedded.nats(state) as again:
                assert again == urls
                await park.relayed()
                assert await park.streamed() == await park.leaves()


async def test_a_bus_that_lost_its_whole_store_is_filled_again(database, state):
    with embedded.nats(state) as urls:
        async with opened(database, urls) as park, running(park.relay().run()):
            await load(park, batches=20)
            await park.relayed()
    with temporary_state() as empty, embedded.nats(empty) as urls:
        async with opened(database, urls, park.name) as same, running(same.relay().run()):
            await same.relayed()
            assert await same.streamed() == await same.leaves()


def kill(state):
    [pid_file] = state.rglob("nats.pid")
    pid = int(pid_file.read_text())
    os.kill(pid, signal.SIGKILL)
    return pid
