"""Server processes that are kept running, stop in order, and never outlive their launcher."""

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import structlog

from deploy.account import Account

log = structlog.get_logger()
Process = subprocess.Popen[bytes]
LOOPBACK = "127.0.0.1"


class ServerFailedError(Exception):
    """An embedded server did not start; the message holds the end of its log."""


def spawn(command: list[str], account: Account, output: Path, death_signal: signal.Signals) -> Process:
    """Start a command as the account, in a session of its own: a Ctrl-C in the terminal is the launcher's alone."""
    child = Path(__file__).with_name("child.py")
    who = [os.getpid(), account.uid, account.gid, int(death_signal)]
    with output.open("ab") as stream:
        return subprocess.Popen(  # noqa: S603
            [sys.executable, "-I", "-S", str(child), *map(str, who), *command],
            stdin=subprocess.DEVNULL,
            stdout=stream,
            stderr=stream,
            start_new_session=True,
            env={"PATH": os.defpath, "LC_ALL": "C", "TZ": "UTC"},
        )


@contextmanager
def kept(start: Callable[[], Process], halt: Callable[[Process], None]) -> Iterator[None]:
    """Keep a server running while the block runs: one that dies is started again, and it is halted at the end.

    A thread starts it, since the kernel's signal at a parent's death is bound to the thread that made the child.
    """
    leaving = threading.Event()
    with ThreadPoolExecutor(1, thread_name_prefix="server") as keeper:
        first = keeper.submit(start).result()
        last = keeper.submit(_keep, first, start, leaving)
        try:
            yield
        finally:
            leaving.set()
            halt(last.result())


def _keep(process: Process, start: Callable[[], Process], leaving: threading.Event) -> Process:
    while not leaving.wait(0.1):
        if process.poll() is None:
            continue
        log.warning("server_died", program=process.args, status=process.returncode)
        try:
            process = start()
        except ServerFailedError as failure:
            log.exception("server_not_restarted", reason=str(failure))
            leaving.wait(1)
    return process


def halt(process: Process, gently: signal.Signals, firmly: signal.Signals, patience: float) -> None:
    """Ask a process to stop, wait up to `patience` seconds, then insist."""
    if process.poll() is not None:
        return
    process.send_signal(gently)
    try:
        process.wait(patience)
    except subprocess.TimeoutExpired:
        process.send_signal(firmly)
        process.wait()


def wait_until(ready: Callable[[], bool], process: Process, output: Path, seconds: float) -> None:
    """Wait until the server answers; raise with the end of its log if it ends or takes longer than `seconds`."""
    deadline = time.monotonic() + seconds
    while not ready():
        if process.poll() is not None or time.monotonic() > deadline:
            tail = output.read_text(errors="replace")[-2000:]
            raise ServerFailedError(f"The server did not start. The end of its log:\n{tail}")
        time.sleep(0.02)


def end_orphan(pid_file: Path, mark: str, gently: signal.Signals, firmly: signal.Signals) -> None:
    """Stop a server that a killed launcher left running, told by its pid file and by `mark` among its arguments.

    The file of a process that is not ours any more (its number was given to another) is removed.
    """
    pid = running(pid_file, mark)
    if pid is None:
        pid_file.unlink(missing_ok=True)
        return
    log.warning("orphan_stopped", pid=pid)
    for attempt, seconds in ((gently, 60), (firmly, 10), (signal.SIGKILL, 10)):
        deadline = time.monotonic() + seconds
        os.kill(pid, attempt)
        while _runs(pid, mark) and time.monotonic() < deadline:
            time.sleep(0.05)
        if not _runs(pid, mark):
            return


def running(pid_file: Path, mark: str) -> int | None:
    """The process that a server's pid file names, if it is that server: told by `mark` among its arguments."""
    pid = _written_pid(pid_file)
    return pid if pid is not None and _runs(pid, mark) else None


def _written_pid(pid_file: Path) -> int | None:
    try:
        return int(pid_file.read_text().split("\n", 1)[0])
    except (FileNotFoundError, ValueError):
        return None


def _runs(pid: int, mark: str) -> bool:
    try:
        return mark.encode() in Path(f"/proc/{pid}/cmdline").read_bytes().split(b"\0")
    except (FileNotFoundError, ProcessLookupError):
        return False


def usable_port(wanted: int | None) -> int:
    """The wanted port of the loopback interface if it is free, else another free one."""
    with socket.socket() as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((LOOPBACK, wanted or 0))
        except OSError:
            trial.bind((LOOPBACK, 0))
        port: int = trial.getsockname()[1]
        return port
