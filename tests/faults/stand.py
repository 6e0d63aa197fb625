"""Service, NATS and PostgreSQL as real processes, and how each of them is killed: by kill -9, and nothing gentler."""

import os
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import httpx

from deploy.processes import usable_port
from deploy.state import private_folder
from tests.faults.handheld import patiently

ROOT = Path(__file__).resolve().parents[2]


class Stand:
    """The servers lie in `state` and come back by themselves; the service is started anew, but only after its own kill."""

    def __init__(self, state, database_url, bus, park):
        self.state, self.database_url, self.bus, self.park = state, database_url, bus, park
        self.port = usable_port(None)
        self.start_service()

    def start_service(self):
        outside = private_folder(self.state / "outside")
        arguments = [self.database_url, self.bus.relay, self.bus.service, self.park, str(self.port), str(outside)]
        self.service = subprocess.Popen([sys.executable, "-m", "tests.faults.child", *arguments], cwd=ROOT)

    def end_service(self):
        self.service.kill()
        self.service.wait()

    def kill_service(self):
        self.end_service()
        self.start_service()

    def kill_nats(self):
        os.kill(int((self.state / "nats/nats.pid").read_text()), signal.SIGKILL)

    def kill_postgres(self):
        os.kill(int((self.state / "postgres/data/postmaster.pid").read_text().split("\n")[0]), signal.SIGKILL)

    async def until_ready(self, http):
        async for _ in patiently():
            with suppress(httpx.HTTPError):
                if (await http.get("/ready")).status_code == httpx.codes.OK:
                    return

    async def until_caught_up(self, http, head):
        """Read tables and stream come to the log's end by themselves."""
        async for _ in patiently():
            with suppress(httpx.HTTPError):
                park = (await http.get("/ready")).json()["parks"][self.park]
                if park["projections"]["position"] == park["relay"]["position"] == head:
                    return
