"""A park on real servers whose database is dumped, lost and brought back: its process, a device that keeps what it sends, and the commands."""

import asyncio
import os
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit
from uuid import uuid4

import httpx
import msgspec
import psycopg

from contracts import leaf
from contracts.words import Role
from deploy.account import Account
from deploy.binaries import program
from deploy.postgres import WHEEL
from deploy.processes import usable_port
from deploy.state import private_folder
from services.core.auth import Devices
from services.core.clock import SystemClock
from services.core.pool import Pool
from tests.integration.terminal import terminal

ROOT = Path(__file__).resolve().parents[2]
ME = Account(os.geteuid(), os.getegid())


def until(found, seconds=60.0):
    """Look again and again until there is something; what it is."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        with suppress(httpx.HTTPError):
            if (something := found()) is not None and something is not False:
                return something
        time.sleep(0.1)
    raise TimeoutError


@dataclass
class Keeper:
    """A device that keeps every request it has sent, to send all of them again should the park lose some."""

    http: httpx.Client
    park: str
    key: str
    kept: list = field(default_factory=list)
    """Path, body and headers of each request, in the order of sending."""

    def send(self, path, body):
        headers = {
            "Authorization": f"Bearer {self.key}",
            "Idempotency-Key": f'"{uuid4()}"',
            "Device-Seq": str(len(self.kept) + 1),
        }
        self.kept.append((path, body, headers))
        return self.post(*self.kept[-1])

    def send_again(self):
        """Everything, in its order, with the same Idempotency-Keys; the receipts."""
        return [self.post(*one) for one in self.kept]

    def post(self, path, body, headers):
        answer = self.http.post(f"/parks/{self.park}/{path}", json=body, headers=headers)
        assert answer.status_code == httpx.codes.CREATED, answer.text
        return answer.json()

    def people(self, *names):
        """Persons and their waivers: a command and a fact for each."""
        for name in names:
            self.send("registration/register-person", {"person": name, "age_band": 18})
            self.send("registration/sign-waiver", {"person": name, "wording": "w1"})


class Park:
    """One park `name`, with a process that serves it, a folder outside, and a dump."""

    def __init__(self, database, bus, state, name):
        self.database, self.bus, self.state, self.name = database, bus, state, name
        self.command = terminal(database, state, NATS_URL=bus.service)
        self.outside = private_folder(state / "outside")
        self.dump = state / "dump"
        self.port = usable_port(None)
        self.http = httpx.Client(base_url=f"http://127.0.0.1:{self.port}", timeout=30)
        self.service = None

    # the process

    def start(self):
        """Start it, and wait until it answers, whether it is ready to record or not."""
        arguments = [self.database.url, self.bus.relay, self.bus.service, self.name, str(self.port), str(self.outside)]
        with (self.state / "service.log").open("ab") as log:
            command = [sys.executable, "-m", "tests.faults.child", *arguments]
            self.service = subprocess.Popen(command, cwd=ROOT, stdout=log, stderr=log)
        until(self.ready)

    def stop(self):
        if self.service is not None:
            self.service.kill()
            self.service.wait()
            self.service = None

    def ready(self):
        return self.http.get("/ready").json()["parks"][self.name]

    def until_open(self, key):
        """Wait until the park records again, as a device does: by sending something until it is taken."""
        body, headers = (
            {"person": "hal", "age_band": 18},
            {"Idempotency-Key": f'"{uuid4()}"', "Authorization": f"Bearer {key}"},
        )
        path = f"/parks/{self.name}/registration/register-person"
        until(lambda: self.http.post(path, json=body, headers=headers).status_code == httpx.codes.CREATED)

    def level(self, seconds=60.0):
        """Wait until stream and read tables have come to the log's end; that end."""

        def end():
            park = self.ready()
            head = park["log"]["position"]
            return head if park["projections"]["position"] == park["relay"]["position"] == head else None

        return until(end, seconds)

    # the database

    def enrol(self, name, *roles: Role):
        return asyncio.run(self._devices("enrol", name, frozenset(roles), "test"))

    def revoke(self, name):
        asyncio.run(self._devices("revoke", name))

    async def _devices(self, what, *arguments):
        pool = Pool(self.database.url)
        try:
            return await getattr(Devices(pool, SystemClock()), what)(self.name, *arguments)
        finally:
            await pool.close()

    def back_up(self):
        self._program("pg_dump", "--format=custom", f"--file={self.dump}", self.database.admin_url)

    def lose_and_bring_back(self):
        """The database is dropped, and the dump restored under its name."""
        url = urlsplit(self.database.admin_url)
        with psycopg.connect(url._replace(path="/postgres").geturl(), autocommit=True) as server:
            name = url.path.strip("/")
            server.execute(f'DROP DATABASE "{name}" WITH (FORCE)'.encode())
            server.execute(f'CREATE DATABASE "{name}"'.encode())
        self._program("pg_restore", "--exit-on-error", f"--dbname={self.database.admin_url}", str(self.dump))

    def _program(self, name, *arguments):
        subprocess.run([program(WHEEL, name, ME), *arguments], check=True)

    def rows(self, query, *parameters):
        with psycopg.connect(self.database.admin_url) as connection:
            return connection.execute(query, parameters).fetchall()

    def head(self):
        """Epoch and position."""
        return self.rows("SELECT epoch, position FROM log.park_head WHERE park = %s", self.name)[0]

    def leaves(self):
        query = "SELECT leaf FROM log.event WHERE park = %s ORDER BY position"
        return [bytes(one) for (one,) in self.rows(query, self.name)]

    def events(self):
        return [leaf.decode(one) for one in self.leaves()]

    def everything(self):
        """What the database holds that a restore may change."""
        tables = ("log.park_head", "log.event", "log.request", "evidence.checkpoint", "vault.person_key", "log.device")
        return {one: self.rows(f"SELECT * FROM {one} ORDER BY 1, 2") for one in tables}  # noqa: S608 - constants

    # over HTTP

    def ask(self, method, path, key, **more):
        return self.http.request(
            method, f"/parks/{self.name}/{path}", headers={"Authorization": f"Bearer {key}"}, **more
        )

    def checkpoint(self, key):
        """Have one signed; the note."""
        answer = self.ask("POST", "evidence/checkpoint", key)
        assert answer.status_code == httpx.codes.OK, answer.text
        return answer.text

    def first_of_stream(self, last=None):
        """The first event of the board's stream for a reader that was sent `last`: its name, id and data."""
        headers = {"Last-Event-ID": last} if last else {}
        found = {}
        with self.http.stream("GET", f"/parks/{self.name}/board/stream", headers=headers) as stream:
            for line in stream.iter_lines():
                name, _, value = line.partition(": ")
                found[name] = value
                if name == "data":
                    return found["event"], found.get("id"), msgspec.json.decode(value)
        raise AssertionError("the stream ended")
