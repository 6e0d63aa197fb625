"""`fieldledger bench`: an instrument's lines, as they come on standard input, recorded at a park; in order, however the network fares."""

import queue
import re
import secrets
import sys
import threading
import time
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, TextIO
from uuid import UUID

import httpx

FIRST_WAIT, LONGEST_WAIT = 0.5, 10.0
"""Seconds before a line is sent again."""
ANSWERS_WITHIN: Final = 20.0
"""Seconds."""
_TIMED: Final = re.compile(r"\s*\d{4}-\d\d-\d\dT", re.IGNORECASE)
_VERDICTS: Final = {
    "pass": "PASS",
    "some": "PASS FOR SOME",
    "turn_down": "TURN DOWN",
    "inconclusive": "NOTHING DECIDED",
}


def bench(*, chrono: str, url: str, key_file: Path) -> None:
    """Record what a chronograph sends on standard input, a reading a line such as `281.4 fps`, and tell each string's verdict.

    A serial port, a file or a terminal will do: fieldledger bench … < /dev/ttyUSB0. Each line bears the time at which it was read, and is sent under one
    key until the park has answered: it is recorded once, and counts for the string that was open when it was shot.

    Parameters
    ----------
    chrono
        The chronograph, as the record names it.
    url
        The park, such as http://127.0.0.1:8080/parks/larchmoor.
    key_file
        A file with the key of a device that may record at the chronograph, and nothing else.

    """
    try:
        key = key_file.read_text().strip()
    except OSError as error:
        sys.exit(f"fieldledger: {key_file} cannot be read: {error.strerror}.")
    with httpx.Client(headers={"Authorization": f"Bearer {key}"}, timeout=ANSWERS_WITHIN) as client:
        station = Station(client, url.rstrip("/"), chrono)
        with open(
            sys.stdin.fileno(), encoding="utf-8", errors="replace", closefd=False
        ) as source:  # noise is a line that does not fit, and no end
            for line in _as_they_come(source):
                station.record(line)


def stamped(line: str, now: datetime) -> str:
    """A line with the time at which it was read, unless it bears one, or nothing but a remark."""
    said = line.strip()
    if not said or said.startswith("#") or _TIMED.match(said):
        return said
    return f"{now.isoformat(timespec='milliseconds')} {said}"


def _as_they_come(source: TextIO) -> Iterable[str]:
    """The lines of a source, each stamped when it came, though the one before it still waits for an answer."""
    waiting: queue.SimpleQueue[str | OSError | None] = queue.SimpleQueue()

    def read() -> None:
        try:
            for line in source:
                waiting.put(stamped(line, datetime.now(UTC)))
            waiting.put(None)
        except OSError as error:
            waiting.put(error)

    threading.Thread(target=read, daemon=True).start()
    while (line := waiting.get()) is not None:
        if isinstance(line, OSError):
            sys.exit(
                f"fieldledger: the chronograph can no longer be read: {line.strerror}. All that came before was sent."
            )
        yield line


class Station:
    """One chronograph at one park, from outside."""

    def __init__(
        self, client: httpx.Client, url: str, chrono: str, sleep: Callable[[float], None] = time.sleep
    ) -> None:
        self._client = client
        self._url = url
        self._chrono = chrono
        self._sleep = sleep

    def record(self, line: str) -> None:
        """Send a line until it is answered, and tell what became of it; ends with a sentence where the park takes none from here."""
        if not line:
            return
        for found in self._until_answered("POST", f"/velocity/lines/{self._chrono}", line)["lines"]:
            if found["outcome"] == "refused":
                _tell(f"NOT RECORDED  {line}: {found['why']}")
            elif found["outcome"] == "recorded":
                whose = f"marker {found['marker']}" if "marker" in found else "of NO marker: scan one first"
                _tell(f"{line}  {whose}")
            if "test" in found:
                self._tell_verdict(found["test"])

    def _tell_verdict(self, test: str) -> None:
        last = self._until_answered("GET", f"/velocity/bench/{self._chrono}").get("last")
        if last is None or last["test"] != test:
            return
        _tell(f"{_VERDICTS[last['verdict']]}  marker {last['marker']}. {last['sentence']}")
        for field in last["fields"]:
            _tell(f"    {field['line']}")

    def _until_answered(self, method: str, path: str, line: str = "") -> Any:
        key, wait = _key(), FIRST_WAIT
        while True:
            why = ""
            try:
                headers = {"Idempotency-Key": f'"{key}"', "Device-Time": datetime.now(UTC).isoformat()}
                headers |= {"Content-Type": "text/plain; charset=utf-8"} if line else {}
                response = self._client.request(method, self._url + path, content=line.encode(), headers=headers)
            except httpx.TransportError as error:
                why = f"the park's server cannot be reached ({str(error) or type(error).__name__})."
            else:
                if response.is_success:
                    if wait > FIRST_WAIT:
                        _tell("The park answers again.")
                    return response.json()
                why = _refusal(response)
                if response.status_code < 500 and response.status_code != 409:
                    sys.exit(
                        f"fieldledger: {why}\nNot recorded: {line}\nStart it again once that is put right, and send what came since."
                    )
            if wait == FIRST_WAIT:
                _tell(f"Waiting, nothing is lost while this runs: {why}")
            self._sleep(wait)
            wait = min(wait * 2, LONGEST_WAIT)


def _refusal(response: httpx.Response) -> str:
    try:
        return str(response.json()["detail"])
    except (ValueError, KeyError, TypeError):
        return f"{response.url} answered {response.status_code}. Is this the park's address?"


def _key() -> UUID:
    """A UUIDv7 (RFC 9562 §5.7)."""
    random = secrets.randbits(74)
    low = 2 << 62 | random & (1 << 62) - 1
    return UUID(int=(time.time_ns() // 1_000_000 & (1 << 48) - 1) << 80 | 7 << 76 | random >> 62 << 64 | low)


def _tell(sentence: str) -> None:
    sys.stdout.write(f"{sentence}\n")
    sys.stdout.flush()
