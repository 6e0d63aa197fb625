"""`fieldledger run`: servers, migrations and services of one park, or of the invented day."""

import os
import secrets
import shutil
import socket
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import time
from pathlib import Path

import msgspec
import uvloop

from contracts.words import ParkId
from deploy import serve
from deploy.app import PortTaken, listening_socket
from deploy.demo.summary import Summary
from deploy.embedded import Servers, servers
from deploy.migrate import MigrationRefusedError, migrate
from deploy.processes import ServerFailedError
from deploy.serve import BLANK, DemoFailed, Plan
from deploy.state import DEFAULT, StateInUseError, private_folder, replace_private
from services.core import logs
from services.core.settings import Settings, read

FIRST = time(8, 30)


def run(*, once: bool = False, empty: bool = False, park: str = "", seed: int = 7, until: str = "") -> None:
    """Serve a park until it is told to stop.

    Parameters
    ----------
    once
        Play the invented day on a fresh park, print what it came to as one line of JSON, and end.
    empty
        Serve a blank park instead of the invented one.
    park
        Serve your own park of this name, blank at first: small letters, digits and hyphens. It stands in every address and event, for good.
    seed
        Of the invented day: the same seed gives the same day.
    until
        Play the invented day up to a time such as 12:30, with games live and groups at staging, and leave the rest to you.

    """
    logs.configure()
    try:
        settings = read(os.environ)
        plan = Plan(
            once=once,
            empty=empty or bool(park),
            seed=seed,
            named=_name(park),
            streams_per_key=settings.streams_per_key,
            until=_time(until),
        )
        summary = _served(settings, plan)
    except (StateInUseError, ServerFailedError, MigrationRefusedError, PortTaken, DemoFailed) as failure:
        sys.exit(f"fieldledger: {failure}")
    if summary is not None:
        _conclude(summary)


def _name(park: str) -> str:
    """Raises DemoFailed for what is no name of a park."""
    try:
        return msgspec.convert(park or BLANK, ParkId)
    except msgspec.ValidationError:
        raise DemoFailed(
            f"--park {park} is no name of a park. Give up to 32 small letters, digits and hyphens, such as fernmoor."
        ) from None


def _time(until: str) -> time | None:
    """Raises DemoFailed for what is no time from half past eight on, when the park is open."""
    if not until:
        return None
    try:
        found = time.fromisoformat(until)
    except ValueError:
        raise DemoFailed(f"--until {until} is no time of day. Give one such as 12:30.") from None
    if found < FIRST:
        raise DemoFailed(f"--until {until} is before the park is open. Give a time from {FIRST:%H:%M} on.")
    return found


def _served(settings: Settings, plan: Plan) -> Summary | None:
    with _listening(settings, plan) as listening, _state(settings, plan) as state:
        here = msgspec.structs.replace(settings, state=str(state))
        with servers(here) as up:
            return uvloop.run(serve.serve(_database(up, state), up.bus, listening, state, plan))


@contextmanager
def _listening(settings: Settings, plan: Plan) -> Iterator[socket.socket]:
    """The socket first: a taken port is said before anything is started. A day played once takes any free port."""
    made = listening_socket(settings.host, 0 if plan.once else settings.port)
    try:
        yield made
    finally:
        made.close()


@contextmanager
def _state(settings: Settings, plan: Plan) -> Iterator[Path]:
    """The folder that outlives the run; a day played once has one of its own, and leaves nothing."""
    if not plan.once:
        yield private_folder(Path(settings.state).absolute() if settings.state else DEFAULT)
        return
    fresh = Path(tempfile.mkdtemp(prefix="fieldledger-once-"))
    if os.geteuid() == 0:
        fresh.chmod(0o711)
    try:
        yield fresh
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _database(up: Servers, state: Path) -> str:
    """Migrate, and give the URL of the role that services use. Its password stays in the state folder."""
    kept = state / "service.secret"
    if not kept.exists():
        replace_private(kept, secrets.token_urlsafe(24).encode())
    return migrate(up.database_url, kept.read_text())


def _conclude(summary: Summary) -> None:
    sys.stdout.write(msgspec.json.encode(summary).decode() + "\n")
    if not summary.projections_match_log:
        sys.exit("The read tables differ from the log.")
