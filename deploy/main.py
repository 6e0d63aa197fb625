"""The command line: `python -m deploy.main`, or `fieldledger` where it is installed."""

import os
import secrets
import shutil
import socket
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec
import uvloop
from cyclopts import App

import deploy.commands.check
import deploy.commands.evidence
import deploy.commands.moments
import deploy.commands.stories
import deploy.commands.vault  # noqa: F401 - registers its commands
from deploy import serve, upkeep
from deploy.app import PortTaken, listening_socket
from deploy.commands.asking import answered
from deploy.commands.audit import AUDIT
from deploy.commands.cases import VERIFY
from deploy.commands.restore import RESTORE
from deploy.demo.summary import Summary
from deploy.embedded import Servers, servers
from deploy.migrate import MigrationRefusedError, migrate
from deploy.processes import ServerFailedError
from deploy.serve import DemoFailed, Plan
from deploy.state import DEFAULT, StateInUseError, private_folder, replace_private
from services.core import logs
from services.core.settings import Settings, SettingsError, read

app = App(name="fieldledger", help="One trustworthy record of a paintball park's day.")
app.command(AUDIT)
app.command(VERIFY)
app.command(RESTORE)


@app.command
def run(*, once: bool = False, empty: bool = False, seed: int = 7) -> None:
    """Serve a park until it is told to stop.

    Parameters
    ----------
    once
        Play the invented day on a fresh park, print what it came to as one line of JSON, and end.
    empty
        Serve a blank park instead of the invented one.
    seed
        Of the invented day: the same seed gives the same day.

    """
    logs.configure()
    settings = read(os.environ)
    plan = Plan(once=once, empty=empty, seed=seed)
    with _listening(settings, plan) as listening, _state(settings, plan) as state:
        here = msgspec.structs.replace(settings, state=str(state))
        with servers(here) as up:
            summary = uvloop.run(serve.serve(_database(up, state), up.bus, listening, state, plan))
    if summary is not None:
        _conclude(summary)


@app.command
def check() -> None:
    """Hold every read table against its log, while the park runs; exit 1 at a difference, which is named."""
    if not answered(upkeep.check_all(upkeep.database_of(read(os.environ)), serve.tell)):
        sys.exit("The read tables differ from the log. Make them again: fieldledger rebuild.")


@app.command
def rebuild() -> None:
    """Make every read table again from the log alone, beside the live one, while the park runs."""
    answered(upkeep.rebuild_all(upkeep.database_of(read(os.environ)), serve.tell))


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


def main() -> None:
    try:
        app()
    except (
        SettingsError,
        StateInUseError,
        ServerFailedError,
        MigrationRefusedError,
        PortTaken,
        DemoFailed,
    ) as failure:
        sys.exit(f"fieldledger: {failure}")
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
