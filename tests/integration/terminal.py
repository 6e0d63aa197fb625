"""`fieldledger …` as a person types it, in this process: one of its own takes seconds to read everything in, and tests ask it dozens of times."""

import io
import os
import sys
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

from deploy.main import main
from tests.databases import PASSWORD, Database


@dataclass(frozen=True)
class Ended:
    """How a command ended, and what it printed."""

    returncode: int
    stdout: str
    stderr: str


def terminal(database: Database, state: Path, **more: str) -> Callable[..., Ended]:
    """A terminal beside a database: call it with the words of a command. `state` is the launcher's state folder; `more` goes into the environment."""
    (state / "service.secret").write_text(PASSWORD)
    environment = {"DATABASE_URL": database.admin_url, "FIELDLEDGER_STATE": str(state)} | more

    def run(*words: str) -> Ended:
        out, err = io.StringIO(), io.StringIO()
        here = patch.dict(os.environ, environment), patch.object(sys, "argv", ["fieldledger", *words])
        with here[0], here[1], redirect_stdout(out), redirect_stderr(err):
            status = _status()
        return Ended(status, out.getvalue(), err.getvalue())

    return run


def _status() -> int:
    """The exit status, as the interpreter makes it of whatever `main` ends with."""
    try:
        main()
    except SystemExit as end:
        if isinstance(end.code, str):
            sys.stderr.write(f"{end.code}\n")
            return 1
        return end.code or 0
    return 0
