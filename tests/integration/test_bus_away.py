"""The bus goes away in the middle of the day: no command fails, the board follows from the log, and when it is back the stream is whole."""

import asyncio
import os
import signal
import time
from contextlib import ExitStack, contextmanager

import nats as client
import pytest

from deploy.embedded import nats
from services.core.stream import Stream
from tests.integration.board_day import BoardDay
from tests.integration.live import serving
from tests.servers import temporary_state

pytestmark = pytest.mark.timeout(200)

AWAY = {"stopped": 12.0, "hung": 25.0}
"""Seconds. A hung bus is given time for tries to connect that take longer than a read waits for its position."""


class Bus:
    """A NATS server of this test's own, so that it can be taken away."""

    def __init__(self, state):
        self.state = state
        self._up = ExitStack()
        self.urls = self._up.enter_context(nats(state))

    def close(self):
        self._up.close()

    @contextmanager
    def stopped(self):
        """Not there at all; it comes back with its data, at the same address."""
        self._up.close()
        yield
        assert self._up.enter_context(nats(self.state)) == self.urls

    @contextmanager
    def hung(self):
        """There, and answers nothing."""
        pid = int((self.state / "nats/nats.pid").read_text())
        os.kill(pid, signal.SIGSTOP)
        try:
            yield
        finally:
            os.kill(pid, signal.SIGCONT)


@pytest.fixture
def bus():
    with temporary_state() as state:
        bus = Bus(state)
        try:
            yield bus
        finally:
            bus.close()


@pytest.fixture
def live(database, bus):
    with serving(database, bus.urls) as live:
        yield live


@pytest.mark.parametrize("how", ["stopped", "hung"])
def test_no_command_fails_without_the_bus_and_the_board_follows_from_the_log(live, bus, how):
    day = BoardDay(live)
    day.open("birch")
    day.clear(day.arrive("p1", 1))
    until(lambda: state(live)["projections"]["from_bus"] and caught_up(live))
    with getattr(bus, how)():
        began, number = time.monotonic(), 1
        while time.monotonic() < began + AWAY[how] or number < 5:
            number += 1
            day.clear(day.arrive(f"p{number}", number))
            assert day.board()["players"]["cleared"] == number
        assert state(live)["relay"]["position"] < live.head()
    day.clear(day.arrive("afterwards", 500))
    until(lambda: state(live)["projections"]["from_bus"] and caught_up(live))
    assert day.board()["players"]["cleared"] == number + 1
    leaves = [live.leaf(position) for position in range(1, live.head() + 1)]
    assert asyncio.run(streamed(bus.urls.service, live.park)) == leaves


def state(live):
    return live.http.get("/ready").json()["parks"][live.park]


def caught_up(live):
    park = state(live)
    return park["relay"]["position"] == park["projections"]["position"] == live.head()


def until(holds, seconds=40):
    deadline = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < deadline
        time.sleep(0.1)


async def streamed(url, park):
    """The whole stream, read by a client that is none of ours."""
    connection = await client.connect(url)
    jetstream = connection.jetstream()
    name = Stream(park, 1).name
    last = (await jetstream.stream_info(name)).state.last_seq
    found = [(await jetstream.get_msg(name, seq=sequence)).data for sequence in range(1, last + 1)]
    await connection.close()
    return found
