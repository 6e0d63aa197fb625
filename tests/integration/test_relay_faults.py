"""The relay while processes around it are killed in the middle of a load."""

import asyncio
import os
import signal
import subprocess
import sys
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from deploy import embedded
from tests.integration.bus_park import eventually, opened, running
from tests.servers import temporary_state

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(180)]


@pytest.fixture
def anyio_backend():
    return "asyncio"


@pytest.fixture
def state():
    with temporary_state() as folder:
        yield folder


SIZE = 12


async def load(park, batches):
    """Acknowledged appends, in a steady stream."""
    for _ in range(batches):
        await asyncio.gather(park.record(SIZE), park.record(SIZE))
        await asyncio.sleep(0.02)


@asynccontextmanager
async def loaded(park):
    """The same stream for as long as the block takes."""
    over = asyncio.Event()

    async def going_on():
        while not over.is_set():
            await load(park, 1)

    async with asyncio.TaskGroup() as work:
        work.create_task(going_on())
        try:
            yield
        finally:
            over.set()


async def end(park):
    """Where the stream ends, while there is a bus."""
    found = await park.relay_bus.end(park.stream)
    return found.position if found else 0


async def test_a_relay_killed_in_the_middle_of_a_load_leaves_no_gap_and_no_repeat(database, nats_urls):
    async with opened(database, nats_urls) as park:
        command = [sys.executable, "-m", "tests.integration.relay_process", database.url, nats_urls.relay, park.name]
        await park.record(5000)  # so that the first one is killed while it refills
        async with loaded(park):
            for _ in range(3):
                before = await end(park)
                relay = subprocess.Popen(command, cwd=Path(__file__).parents[2])  # noqa: ASYNC220
                await eventually(lambda before=before: _beyond(park, before), 60)
                relay.kill()
                relay.wait()
        async with running(park.relay().run()):
            await park.relayed()
        assert await park.streamed() == await park.leaves()


async def test_nats_killed_and_restarted_during_a_load_harms_neither_the_log_nor_the_stream(database, state):
    with embedded.nats(state) as urls:
        async with opened(database, urls) as park, running(park.relay().run()):
            killed = set()
            async with loaded(park):
                for _ in range(3):
                    before = await end(park)
                    await eventually(lambda before=before: _beyond(park, before), 60)
                    killed.add(kill(state))
                    await eventually(lambda: _is_up_again(state, killed), 60)
            assert len(killed) == 3
            assert (await park.log.head()).position % SIZE == 0
            await park.relayed()
            assert await park.streamed() == await park.leaves()


async def test_with_the_bus_away_the_park_goes_on_and_the_stream_is_level_soon_after_it_is_back(database, state):
    with embedded.nats(state) as urls:
        pass
    async with opened(database, urls) as park:
        relay = park.relay()
        async with running(relay.run()):
            await load(park, batches=20)
            await eventually(lambda: _is_down(relay))
            assert (await park.log.head()).position == 20 * 2 * SIZE
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


async def _beyond(park, before):
    return await end(park) > before


async def _is_down(relay):
    return relay.state == "bus down"


async def _is_up_again(state, killed):
    return pid_of(state) not in killed


def kill(state):
    pid = pid_of(state)
    os.kill(pid, signal.SIGKILL)
    return pid


def pid_of(state):
    [pid_file] = state.rglob("nats.pid")
    return int(pid_file.read_text())
