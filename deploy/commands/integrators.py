"""`fieldledger integrators …`: who reads along on the bus, added and removed while the park runs."""

import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from cyclopts import App

from deploy import integrators
from deploy.integrators import CHECKPOINTS, NoSuchReading, Register
from deploy.nats import reload
from deploy.processes import LOOPBACK
from deploy.state import DEFAULT, last_access
from services.core.settings import read

T = TypeVar("T")
INTEGRATORS = App(
    name="integrators",
    help="Accounts on the bus for those who read along: each reads its subjects and can do nothing else.",
)


def tell(line: str) -> None:
    sys.stdout.write(f"{line}\n")


@INTEGRATORS.command
def add(name: str, *, reads: list[str], park: str | None = None) -> None:
    """Give somebody an account, and print its address with the secret: it is shown this once.

    Parameters
    ----------
    name
        Names the account: lower-case letters, digits and hyphens.
    reads
        A service whose events it reads, such as games, or checkpoints; give it once for each.
    park
        The one park that it reads; every park of this server without.

    """
    state = _state()
    one = _changed(state, lambda found: integrators.added(found, name, tuple(reads), park))
    tell(f"nats://{name}:{one.secret}@{LOOPBACK}:{last_access(state, 'nats').port}")
    tell("Keep it: the secret is not shown again. Subjects: " + ", ".join(one.subjects))
    for line in (*about(reads), *not_here(state, park)):
        tell(line)


def not_here(state: Path, park: str | None) -> tuple[str, ...]:
    """A sentence about a park that was never started here: whoever has mistyped its name would hear nothing, and not know why."""
    parks = sorted(path.stem.removeprefix("keys-") for path in state.glob("keys-*.json"))
    if park is None or park in parks:
        return ()
    return (
        f"There is no park {park} here yet, so nothing comes until there is. There are: {', '.join(parks) or 'none'}.",
    )


def about(reads: Sequence[str]) -> tuple[str, ...]:
    """What comes under these services' subjects, and how to fetch what did not come."""
    events = (
        "Each message is a leaf; its third and fourth line are epoch and position. It comes at most once while you listen, and again after a fault of ours:",
        "go by the position, and fetch what is missing with GET /parks/<park>/events?after=<epoch>:<position>, under the key of a device with the role integrator.",
    )
    checkpoints = (
        "Each message under checkpoint.<park> is a signed note; its second line is how many events it covers. Fetch what is missing with GET /parks/<park>/evidence/checkpoints.",
    )
    return (*(events if set(reads) - {CHECKPOINTS} else ()), *(checkpoints if CHECKPOINTS in reads else ()))


@INTEGRATORS.command(name="list")
def list_() -> None:
    """Tell who has an account, and what each reads."""
    found = integrators.register(_state())
    for name, one in sorted(found.items()):
        tell(f"{name}: {', '.join(one.subjects)}")
    if not found:
        tell("Nobody reads along on the bus.")


@INTEGRATORS.command
def remove(name: str) -> None:
    """Take an account away; whoever is connected with it is cut off at once, and nobody else."""
    _changed(_state(), lambda found: integrators.removed(found, name))
    tell(f"{name} has no account any more.")


def _changed(state: Path, change: Callable[[Register], T]) -> T:
    """Change the register and let the server take it up."""
    try:
        with integrators.changing(state) as found:
            made = change(found)
    except NoSuchReading as failure:
        sys.exit(f"fieldledger: {failure}")
    if not reload(state):
        tell("The bus does not run now; it takes this up when it is started.")
    return made


def _state() -> Path:
    """The state folder of the embedded bus; says so where the bus is another."""
    settings = read(os.environ)
    if settings.nats_url:
        sys.exit(
            "fieldledger: the bus is the one at NATS_URL. Make the account there: import of the park's subjects, no right to publish."
        )
    state = Path(settings.state).absolute() if settings.state else DEFAULT
    if not (state / "nats.json").exists():
        sys.exit(f"fieldledger: there is no bus in {state} yet. Start one with deploy/run.")
    return state
