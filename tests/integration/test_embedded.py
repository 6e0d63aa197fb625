import asyncio
import contextlib
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import nats as client
import psycopg
import pytest

from deploy import binaries, postgres
from deploy.account import Account, server_account
from deploy.embedded import nats, servers
from deploy.postgres import postgres as database_server
from deploy.processes import ServerFailedError
from deploy.state import StateInUseError, access, data_folder
from services.core.settings import read
from tests.servers import temporary_state

LAUNCHER = """
import os, time
from deploy.embedded import servers
from services.core.settings import read
with servers(read(os.environ)) as up:
    print(up.database_url, up.bus.relay, flush=True)
    time.sleep(600)
"""


@pytest.fixture
def state():
    with temporary_state() as folder:
        yield folder


def write_row(url):
    with psycopg.connect(url) as connection:
        connection.execute("CREATE TABLE kept (word text)")
        connection.execute("INSERT INTO kept VALUES ('still there')")


def row(url):
    """What the row says, asked until the server answers."""
    deadline = time.monotonic() + 30
    while True:
        try:
            with psycopg.connect(url, connect_timeout=5) as connection:
                return connection.execute("SELECT word FROM kept").fetchone()[0]
        except psycopg.OperationalError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)


def postmaster(state):
    return int((state / "postgres/data/postmaster.pid").read_text().split("\n")[0])


def alive(pid):
    status = Path(f"/proc/{pid}/stat")
    try:
        return status.read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def wait_until_gone(pid):
    deadline = time.monotonic() + 30
    while alive(pid) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not alive(pid)


def test_data_and_address_survive_a_stop(state):
    with database_server(state) as first:
        write_row(first)
        pid = postmaster(state)
    assert not alive(pid)
    with database_server(state) as second:
        assert second == first
        assert row(second) == "still there"


def test_a_killed_postgres_comes_back_by_itself_with_its_data(state):
    with database_server(state) as url:
        write_row(url)
        pid = postmaster(state)
        os.kill(pid, signal.SIGKILL)
        wait_until_gone(pid)
        assert row(url) == "still there"
        assert postmaster(state) != pid


def test_a_killed_nats_comes_back_by_itself_with_its_stream(state):
    async def published(url, count):
        connection = await client.connect(url, connect_timeout=5, max_reconnect_attempts=3)
        stream = connection.jetstream(timeout=30)
        await stream.add_stream(name="park-oak", subjects=["park.oak.>"])
        for _ in range(count):
            await stream.publish("park.oak.games.started", b"{}")
        info = await stream.stream_info("park-oak")
        await connection.close()
        return info.state.messages

    with nats(state) as bus:
        assert asyncio.run(published(bus.relay, 3)) == 3
        pid = int((state / "nats/nats.pid").read_text())
        os.kill(pid, signal.SIGKILL)
        wait_until_gone(pid)
        deadline = time.monotonic() + 20
        while time.monotonic() < deadline:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", access_port(state, "nats"))):
                break
            time.sleep(0.05)
        assert asyncio.run(published(bus.relay, 1)) == 4


def access_port(state, server):
    return json.loads((state / f"{server}.json").read_text())["port"]


def test_servers_do_not_outlive_a_killed_launcher_and_start_again_with_their_data(state):
    environment = os.environ | {"FIELDLEDGER_STATE": str(state), "PYTHONPATH": str(Path.cwd())}
    with subprocess.Popen(
        [sys.executable, "-c", LAUNCHER], env=environment, stdout=subprocess.PIPE, text=True
    ) as launcher:
        database_url = launcher.stdout.readline().split()[0]
        write_row(database_url)
        pids = [postmaster(state), int((state / "nats/nats.pid").read_text())]
        launcher.kill()
        launcher.wait()
        for pid in pids:
            wait_until_gone(pid)
    with servers(read({"FIELDLEDGER_STATE": str(state)})) as up:
        assert up.database_url == database_url
        assert row(up.database_url) == "still there"


def test_an_orphan_that_still_runs_is_stopped_before_the_next_start(state):
    with database_server(state) as url:
        write_row(url)
    reach = access(state, "postgres", (postgres.OWNER,))
    orphan = postgres._start(state / "postgres/data", reach, server_account(), state / "postgres.log")
    with database_server(state) as url:
        assert orphan.wait(5) == 0
        assert row(url) == "still there"


def test_a_stale_pid_file_that_names_a_stranger_neither_stops_the_start_nor_the_stranger(state):
    with database_server(state) as url:
        write_row(url)
    account = server_account()
    identity = {} if account.is_launcher else {"user": account.uid, "group": account.gid, "extra_groups": []}
    with subprocess.Popen(["/bin/sleep", "60"], **identity) as stranger:
        stale = state / "postgres/data/postmaster.pid"
        stale.write_text(f"{stranger.pid}\n{state}/postgres/data\n")
        with database_server(state) as url:
            assert row(url) == "still there"
        assert stranger.poll() is None
        stranger.kill()


def test_a_first_start_that_was_killed_half_way_is_begun_anew(state):
    account = server_account()
    for folder in (state / "postgres", state / "postgres/data.new"):
        folder.mkdir()
        account.own(folder, 0o700)
    (state / "postgres/data.new/PG_VERSION").write_text("18\n")
    with database_server(state) as url:
        write_row(url)
        assert row(url) == "still there"


def test_a_second_launcher_on_the_same_state_is_told_who_uses_it(state):
    with database_server(state), pytest.raises(StateInUseError, match=rf"in use by process {os.getpid()}\."):
        database_server(state).__enter__()


def test_a_port_that_another_program_took_is_replaced(state):
    with database_server(state) as url:
        write_row(url)
    port = access_port(state, "postgres")
    with socket.create_server(("127.0.0.1", port)), database_server(state) as url:
        assert access_port(state, "postgres") != port
        assert row(url) == "still there"


def modes(path):
    return {step: step.stat().st_mode for step in path.parents}


def test_folders_above_keep_their_permissions_even_where_the_servers_cannot_enter(state, monkeypatch):
    monkeypatch.setattr(binaries, "SYSTEM_FOLDER", state / "system")
    monkeypatch.setattr(Account, "executes", lambda *_: False)
    closed = state / "home" / "checkout" / ".state"
    closed.parent.mkdir(parents=True)
    (state / "home").chmod(0o700)
    before = modes(closed)
    with servers(read({"FIELDLEDGER_STATE": str(closed)})) as up:
        write_row(up.database_url)
        assert row(up.database_url) == "still there"
        assert modes(closed) == before
    assert modes(closed) == before
    elsewhere = list((state / "system").glob("state-*/postgres/data"))
    assert len(elsewhere) == (0 if server_account().is_launcher else 1)


def test_data_is_never_begun_anew_because_its_server_was_shut_out(state):
    other = Account(os.geteuid() + 1, os.getegid() + 1)
    inside = state / "checkout" / ".state"
    (inside / "postgres").mkdir(parents=True)
    inside.parent.chmod(0o700)
    with pytest.raises(ServerFailedError, match="were closed to the account"):
        data_folder(inside, "postgres", other)


def test_data_whose_password_is_gone_is_named_and_left_alone(state):
    with database_server(state) as url:
        write_row(url)
    kept = (state / "postgres.json").rename(state / "kept.json")
    with pytest.raises(ServerFailedError, match=re.escape(f"To begin anew, remove {state}/postgres/data too")):
        database_server(state).__enter__()
    kept.rename(state / "postgres.json")
    with database_server(state) as url:
        assert row(url) == "still there"


def test_secrets_and_data_are_closed_to_everyone_else(state):
    with servers(read({"FIELDLEDGER_STATE": str(state)})):
        private = ["postgres.json", "nats.json", "nats.conf", "postgres", "nats", "postgres/data"]
        assert {name: (state / name).stat().st_mode & 0o077 for name in private} == dict.fromkeys(private, 0)
        assert not (state / "postgres.secret").exists()


def test_postgres_asks_local_users_for_the_password(state):
    with (
        database_server(state) as url,
        pytest.raises(psycopg.OperationalError, match="password authentication failed"),
    ):
        psycopg.connect(url.replace(url.split(":")[2].split("@")[0], "guess"))


def test_only_the_relay_may_publish_a_parks_events(nats_urls):
    async def attempt():
        refusals = []

        async def note(error):
            refusals.append(str(error))

        relay = await client.connect(nats_urls.relay)
        service = await client.connect(nats_urls.service, error_cb=note)
        stream = relay.jetstream()
        await stream.add_stream(name="park-elm", subjects=["park.elm.>"])
        await stream.publish("park.elm.games.started", b"genuine")
        await service.publish("park.elm.games.started", b"forged")
        await service.publish("$JS.API.STREAM.DELETE.park-elm", b"")
        await service.flush()
        reader = await service.jetstream().pull_subscribe("park.elm.>", durable="board", stream="park-elm")
        messages = await reader.fetch(1, timeout=30)
        await messages[0].ack_sync()
        pending = (await reader.consumer_info()).num_pending
        await service.close()
        await relay.close()
        return [message.data for message in messages], pending, refusals

    seen, pending, refusals = asyncio.run(attempt())
    assert seen == [b"genuine"]
    assert pending == 0
    assert len(refusals) == 2
    assert "permissions violation" in refusals[0]
    assert "park.elm.games.started" in refusals[0]
    assert "stream.delete" in refusals[1].lower()
