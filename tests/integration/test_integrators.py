"""Reading along on a real bus: each account hears its subjects and can do nothing else, comes and goes while the bus runs, and slows nobody."""

import asyncio
import os
import subprocess
import sys
import time
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from uuid import uuid4

import nats
import pytest
from nats.errors import Error as NatsError

from contracts import leaf
from contracts.envelope import Event
from deploy import integrators
from deploy import nats as embedded
from services.core.bus import Bus
from services.core.stream import Stream
from tests.servers import temporary_state

pytestmark = pytest.mark.timeout(120)
STREAM = Stream("larchmoor", 1)
WITHIN = 15.0
"""Seconds in which what a test waits for must come about."""


@pytest.fixture(scope="module")
def state():
    with temporary_state() as folder:
        yield folder


@pytest.fixture(scope="module")
def urls(state):
    with embedded.nats(state) as urls:
        asyncio.run(_made(urls))
        yield urls


async def _made(urls):
    bus = Bus(urls.relay)
    await bus.make(STREAM)
    await bus.close()


def reload(state):
    """Until the server says that it has taken the configuration up: whoever connects meanwhile may be cut off, and comes again."""
    log = state / "nats.log"
    before = log.read_text().count("Reloaded server configuration")
    assert embedded.reload(state)
    deadline = time.monotonic() + WITHIN
    while log.read_text().count("Reloaded server configuration") == before:
        assert time.monotonic() < deadline
        time.sleep(0.02)


@pytest.fixture
def address(state, urls):
    """Adds an integrator and gives its address; it is gone after the test."""
    names = []

    def add(*reads, name="office", park=None):
        with integrators.changing(state) as found:
            one = integrators.added(found, name, reads, park)
        names.append(name)
        reload(state)
        return f"nats://{name}:{one.secret}@{urls.service.rpartition('@')[2]}"

    yield add
    with integrators.changing(state) as found:
        for name in names:
            found.pop(name, None)
    reload(state)


def a_leaf(kind, position, size=0):
    at = datetime.now(UTC)
    event = Event(
        type=kind, version=1, id=uuid4(), day=at.date(), occurred_at=at, claimed_at=None, clock="server",
        device="x" * max(size, 1), device_seq=None, actor=None, tags=(), data={},
    )  # fmt: skip
    return leaf.frame("larchmoor", 1, position, at, leaf.encode(event))


class Relay:
    """What the relay does: leaves behind the stream's end, as many as are asked for."""

    def __init__(self, url):
        self.bus = Bus(url)

    async def publish(self, *kinds, size=0):
        after = (await self.bus.end(STREAM)).position
        made = [a_leaf(kind, after + number, size) for number, kind in enumerate(kinds, 1)]
        return await self.bus.publish(STREAM, made, after)


@asynccontextmanager
async def relaying(urls):
    relay = Relay(urls.relay)
    try:
        yield relay
    finally:
        await relay.bus.close()


class Reader:
    """An integrator with a client that is none of ours."""

    def __init__(self, client):
        self.client, self.heard, self.errors, self.cuts = client, [], [], []

    async def listen(self, subject):
        async def keep(message):
            self.heard.append(message)

        await self.client.subscribe(subject, cb=keep)
        await self.client.flush()

    async def until(self, true):
        deadline = time.monotonic() + WITHIN
        while not true():
            assert time.monotonic() < deadline, (self.heard, self.errors)
            await asyncio.sleep(0.02)


@asynccontextmanager
async def reading(address):
    """Connected as soon as the server has taken the account up."""
    reader = Reader(None)

    async def note(error):
        reader.errors.append(str(error))

    async def cut():
        reader.cuts.append(time.monotonic())

    deadline = time.monotonic() + WITHIN
    while reader.client is None:
        try:
            reader.client = await nats.connect(
                address,
                allow_reconnect=False,
                max_reconnect_attempts=1,
                error_cb=note,
                closed_cb=cut,
                disconnected_cb=cut,
            )
        except (NatsError, OSError):
            assert time.monotonic() < deadline
            await asyncio.sleep(0.1)
    reader.errors.clear()
    try:
        yield reader
    finally:
        await reader.client.close()


def test_an_integrator_hears_the_leaves_of_its_service_with_their_position_and_no_others(urls, address):
    async def run():
        async with reading(address("games")) as office, relaying(urls) as relay:
            await office.listen("park.larchmoor.games.>")
            last = await relay.publish(
                "registration.player_registered", "games.game_started", "velocity.marker_tested", "games.game_ended"
            )
            await office.until(lambda: len(office.heard) == 2)
            await asyncio.sleep(0.2)
            assert [one.subject for one in office.heard] == [
                "park.larchmoor.games.game_started",
                "park.larchmoor.games.game_ended",
            ]
            assert [int(one.data.split(b"\n")[3]) for one in office.heard] == [last - 2, last]

    asyncio.run(run())


@pytest.mark.parametrize(
    "subject",
    [
        ">",
        "park.>",
        "park.*.velocity.>",
        "park.larchmoor.velocity.>",
        "park.larchmoor.*.>",
        "checkpoint.larchmoor",
        "$JS.>",
        "$SYS.>",
        "_INBOX.>",
    ],
)
def test_it_cannot_listen_to_anything_else(urls, address, subject):
    async def run():
        async with reading(address("games", park="larchmoor")) as office, relaying(urls) as relay:
            await office.listen(subject)
            await office.until(lambda: office.errors)
            assert "permissions violation" in office.errors[0].lower()
            await relay.publish("velocity.marker_tested", "games.game_started")
            await asyncio.sleep(0.3)
            assert office.heard == []

    asyncio.run(run())


@pytest.mark.parametrize(
    "subject",
    [
        "park.larchmoor.games.game_started",
        "checkpoint.larchmoor",
        "$JS.API.INFO",
        "$JS.API.STREAM.NAMES",
        "$JS.API.STREAM.PURGE.PARK_larchmoor_1",
        "$JS.API.STREAM.DELETE.PARK_larchmoor_1",
        "$JS.API.STREAM.CREATE.OTHERS",
        "$JS.API.STREAM.UPDATE.PARK_larchmoor_1",
        "$JS.API.STREAM.MSG.DELETE.PARK_larchmoor_1",
        "$JS.API.STREAM.MSG.GET.PARK_larchmoor_1",
        "$JS.API.DIRECT.GET.PARK_larchmoor_1",
        "$JS.API.CONSUMER.CREATE.PARK_larchmoor_1",
        "$JS.API.CONSUMER.DELETE.PARK_larchmoor_1.projector",
        "$JS.API.CONSUMER.MSG.NEXT.PARK_larchmoor_1.projector",
        "$SYS.REQ.SERVER.PING",
    ],
)
def test_it_cannot_publish_nor_ask_jetstream_or_the_server_for_anything(urls, address, subject):
    async def run():
        async with reading(address("games")) as office, relaying(urls) as relay:
            before = await relay.publish("games.game_started")
            await office.client.publish(subject, b"{}", reply="park.larchmoor.games.reply")
            await office.client.flush()
            await office.until(lambda: office.errors)
            assert "permissions violation for publish" in office.errors[0].lower()
            assert (await relay.bus.end(STREAM)).position == before

    asyncio.run(run())


def test_a_second_integrator_comes_and_goes_and_neither_the_first_nor_the_relay_loses_its_connection(
    state, urls, address
):
    async def run():
        async with reading(address("games")) as office, relaying(urls) as relay:
            await office.listen("park.*.games.>")
            await relay.publish("games.game_started")
            connection = relay.bus._client
            async with reading(address("velocity", name="tower")) as tower:
                await tower.listen("park.*.velocity.>")
                await relay.publish("velocity.marker_tested", "games.game_ended")
                await tower.until(lambda: len(tower.heard) == 1)
                with integrators.changing(state) as found:
                    integrators.removed(found, "tower")
                reload(state)
                await tower.until(lambda: tower.cuts)
            last = await relay.publish("games.game_called")
            await office.until(lambda: len(office.heard) == 3)
            assert int(office.heard[-1].data.split(b"\n")[3]) == last
            assert office.cuts == []
            assert relay.bus._client is connection
            assert connection.is_connected

    asyncio.run(run())


def test_whoever_was_removed_cannot_come_back_and_a_new_secret_replaces_the_old(state, address):
    first = address("games")
    with integrators.changing(state) as found:
        integrators.removed(found, "office")
    reload(state)
    second = address("games")

    async def run():
        async with reading(second):
            with pytest.raises(NatsError, match=r"(?i)authorization"):
                await nats.connect(first, allow_reconnect=False, max_reconnect_attempts=1)

    asyncio.run(run())


def test_an_integrator_has_so_many_connections_and_no_more(address):
    url = address("games")

    async def run():
        async with reading(url):
            others = [await nats.connect(url) for _ in range(integrators.CONNECTIONS - 1)]
            with pytest.raises(NatsError):
                await nats.connect(url, allow_reconnect=False, max_reconnect_attempts=1)
            for one in others:
                await one.close()

    asyncio.run(run())


async def _rate(relay, batches):
    begun = time.monotonic()
    for _ in range(batches):
        await relay.publish(*["games.game_started"] * 500, size=2000)
    return batches * 500 / (time.monotonic() - begun)


def test_one_that_never_reads_does_not_slow_the_relay_and_is_dropped(urls, address):
    """In one run: the rate of the relay's publications with and without, in turn; the server hangs up on who does not read."""
    url = address("games")

    async def never_reads():
        secret = url.partition("//")[2].rpartition("@")[0].partition(":")[2]
        reader, writer = await asyncio.open_connection("127.0.0.1", int(url.rpartition(":")[2]), limit=4096)
        await reader.readline()
        hello = f'CONNECT {{"user":"office","pass":"{secret}","verbose":false,"lang":"none","version":"0","protocol":1}}\r\nSUB park.*.games.> 1\r\nPING\r\n'
        writer.write(hello.encode())
        while b"PONG" not in await reader.readline():
            pass
        return reader, writer

    async def run():
        async with reading(url), relaying(urls) as relay:
            await _rate(relay, 4)
            without = await _rate(relay, 12)
            reader, writer = await never_reads()
            reader._transport.pause_reading()
            with_it = await _rate(relay, 12)
            sys.stdout.write(f"\nrelay {without:.0f} messages/s without, {with_it:.0f} with one that never reads\n")
            assert with_it >= 0.5 * without
            await asyncio.sleep(6)
            await _rate(relay, 1)
            reader._transport.resume_reading()
            ended = asyncio.create_task(_until_the_end(reader))
            await asyncio.wait_for(ended, WITHIN)
            writer.close()

    asyncio.run(run())


async def _until_the_end(reader):
    try:
        while await reader.read(1 << 20):
            pass
    except ConnectionError:
        pass


def cli(state, *words):
    environment = {**os.environ, "FIELDLEDGER_STATE": str(state)}
    command = [sys.executable, "-m", "deploy.main", "integrators", *words]
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False)


def test_an_account_is_added_listed_and_removed_from_a_terminal_and_its_secret_is_shown_once(state, urls):
    made = cli(state, "add", "tower", "--reads", "games", "--reads", "velocity")
    assert made.returncode == 0, made.stderr
    url = made.stdout.splitlines()[0]
    secret = url.partition("tower:")[2].partition("@")[0]
    assert len(secret) >= 32
    assert "/events?after=" in made.stdout

    async def run():
        async with reading(url) as tower, relaying(urls) as relay:
            await tower.listen("park.*.velocity.>")
            await relay.publish("velocity.marker_tested")
            await tower.until(lambda: tower.heard)
            listed = cli(state, "list")
            assert listed.stdout == "tower: park.*.games.>, park.*.velocity.>\n"
            again = cli(state, "add", "tower", "--reads", "games")
            assert (again.returncode, again.stdout) == (1, "")
            assert "already" in again.stderr
            assert cli(state, "remove", "tower").returncode == 0
            await tower.until(lambda: tower.cuts)

    asyncio.run(run())
    assert cli(state, "list").stdout == "Nobody reads along on the bus.\n"


def test_what_the_bus_held_before_the_park_had_an_account_of_its_own_is_cleared_away():
    with temporary_state() as state:
        with embedded.nats(state):
            old = state / "nats" / embedded.OF_NO_ACCOUNT / "streams"
            old.mkdir(parents=True)
        with embedded.nats(state):
            assert not old.exists()
