"""The folder that outlives a run: the servers' data, their ports and passwords, and who is using it."""

import fcntl
import hashlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec
import structlog

from deploy import binaries
from deploy.account import Account
from deploy.processes import ServerFailedError, usable_port

log = structlog.get_logger()
DEFAULT = Path(__file__).resolve().parent.parent / ".state"


class StateInUseError(Exception):
    """Another launcher uses this state folder."""


class Access(msgspec.Struct, frozen=True):
    """How to reach an embedded server: its port on the loopback interface and a random password for each role."""

    port: int
    passwords: dict[str, str]


def private_folder(path: Path) -> Path:
    """A folder of the launcher's; one that root makes lets the servers through to their own folders below it."""
    if not path.is_dir():
        path.mkdir(parents=True)
        path.chmod(0o711 if os.geteuid() == 0 else 0o700)
    return path


@contextmanager
def claimed(state: Path, server: str) -> Iterator[None]:
    """Hold this server's part of the state folder; raise StateInUseError while another launcher does.

    The kernel frees the claim when its holder dies, however it dies.
    """
    with (private_folder(state) / f"{server}.lock").open("a+") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lock.seek(0)
            raise StateInUseError(
                f"The state folder {state} is in use by process {lock.read().strip()}. "
                "Stop that one first, or name another folder in FIELDLEDGER_STATE."
            ) from None
        lock.truncate(0)
        lock.write(f"{os.getpid()}\n")
        lock.flush()
        yield


def data_folder(state: Path, server: str, account: Account) -> Path:
    """The server's own folder, open to its account alone: below `state`, or elsewhere if that is out of its reach."""
    folder = _home(private_folder(state), server, account) / server
    folder.mkdir(exist_ok=True)
    return account.own(folder, 0o700)


def _home(state: Path, server: str, account: Account) -> Path:
    elsewhere = binaries.SYSTEM_FOLDER / f"state-{hashlib.sha256(os.fsencode(state.resolve())).hexdigest()[:12]}"
    if account.is_launcher or (account.enters(state) and not elsewhere.is_dir()):
        return state
    if (state / server).is_dir() and not elsewhere.is_dir():
        raise ServerFailedError(f"The folders above {state / server} were closed to the account of the server in it.")
    log.warning("data_elsewhere", folder=str(elsewhere), why=f"the servers' account cannot enter {state}")
    binaries.system_folder()
    return private_folder(elsewhere)


def access(state: Path, server: str, roles: tuple[str, ...]) -> Access:
    """The server's port and passwords, kept from run to run; a port that another program took is replaced."""
    path = _path(state, server)
    kept = last_access(state, server) if path.exists() else None
    passwords = kept.passwords if kept else {role: secrets.token_urlsafe(24) for role in roles}
    now = Access(port=usable_port(kept.port if kept else None), passwords=passwords)
    replace_private(path, msgspec.json.encode(now))
    return now


def last_access(state: Path, server: str) -> Access:
    """How the server that runs, or ran last, is reached. There must have been one."""
    return msgspec.json.decode(_path(state, server).read_bytes(), type=Access)


def _path(state: Path, server: str) -> Path:
    return state / f"{server}.json"


def replace_private(path: Path, content: bytes) -> Path:
    """Write a file of the launcher's that nobody else can read, whole or not at all."""
    fresh = path.with_name(f"{path.name}.new")
    fresh.unlink(missing_ok=True)
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
    return fresh.replace(path)


def fresh_log(state: Path, server: str) -> Path:
    """An empty log file; that of the run before is kept beside it."""
    path = state / f"{server}.log"
    if path.exists():
        path.replace(state / f"{server}.before.log")
    return replace_private(path, b"")
