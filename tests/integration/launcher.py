"""`deploy/run` as a person at a terminal has it: with a state folder and a port of its own."""

import json
import os
import signal
import subprocess
import time
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

import httpx

from deploy.processes import usable_port

ROOT = Path(__file__).resolve().parents[2]


class Launcher:
    """One launcher after the other on the same state; what they print is kept in `said`."""

    def __init__(self, state: Path, *arguments: str, port: int | str | None = None) -> None:
        self.state = state
        self.arguments = arguments
        self.port = port or usable_port(None)
        self.said = ""
        self._output = state.parent / f"said-{uuid4().hex}"
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def launch(self) -> None:
        own = {"FIELDLEDGER_STATE": str(self.state), "PORT": str(self.port)}
        kept = {name: value for name, value in os.environ.items() if not name.startswith("FIELDLEDGER_")}
        with self._output.open("wb") as output:
            self._process = subprocess.Popen(
                [str(ROOT / "deploy" / "run"), *self.arguments], env=kept | own, stdout=output, stderr=output
            )

    def start(self) -> "Launcher":
        """Launch, and wait until it serves."""
        self.launch()
        deadline = time.monotonic() + 90
        while time.monotonic() < deadline and self._process.poll() is None:
            with suppress(httpx.HTTPError):
                if httpx.get(f"{self.url}/ready", timeout=5).status_code == 200:
                    return self
            time.sleep(0.1)
        raise AssertionError(self._read())

    def end(self, number: signal.Signals = signal.SIGTERM) -> int:
        """Send a signal to the launcher alone, and wait for its exit status."""
        if self._process.poll() is None:
            self._process.send_signal(number)
        return self.status()

    def status(self, seconds: float = 60) -> int:
        status = self._process.wait(seconds)
        self._read()
        return status

    def _read(self) -> str:
        self.said = self._output.read_text()
        return self.said

    def until_said(self, words: str) -> None:
        deadline = time.monotonic() + 60
        while words not in self._read():
            assert time.monotonic() < deadline, self.said
            time.sleep(0.05)

    @property
    def sentences(self) -> list[str]:
        """What it said to a person: everything but the lines of the log, which are JSON."""
        return [line for line in self.said.splitlines() if line and not line.startswith("{")]

    def position(self, park: str) -> int:
        return httpx.get(f"{self.url}/ready", timeout=10).json()["parks"][park]["log"]["position"]

    def send(self, park: str, device: str, command: str, body: object, key: str) -> httpx.Response:
        secret = json.loads((self.state / f"keys-{park}.json").read_text())[device]
        headers = {"Authorization": f"Bearer {secret}", "Idempotency-Key": f'"{key}"'}
        return httpx.post(f"{self.url}/parks/{park}/{command}", json=body, headers=headers, timeout=20)
