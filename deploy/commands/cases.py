"""`fieldledger audit case` makes a case file; `fieldledger verify` examines one, offline and without a database."""

import os
import sys
from pathlib import Path

import asyncpg
from cyclopts import App

from deploy.app import plain
from deploy.commands.asking import answered, park_of
from deploy.commands.audit import AUDIT
from deploy.state import DEFAULT, private_folder
from deploy.upkeep import database_of
from services.audit.cases.examination import examine
from services.audit.cases.routes import case_of, name_of
from services.core.settings import read
from services.evidence.outside import Outside
from services.evidence.rounds import Rounds

VERIFY = App(name="verify", help="Examine a case file, offline: exit 0 only if nothing in it was changed.")


@AUDIT.command
def case(kind: str, subject: str, *, out: Path | None = None, park: str | None = None) -> None:
    """Make the case file of one subject: a ZIP that anybody can verify.

    Parameters
    ----------
    kind
        What it is: player, incident, marker, caution, field, game …
    subject
        Which one, as the record names it. The park and its rules are named as the park is.
    out
        Where to write it; in this folder, under a name of its own, when absent.
    park
        Which park, where there are several.

    """
    settings = read(os.environ)
    state = Path(settings.state).absolute() if settings.state else DEFAULT
    where, made = answered(_made(database_of(settings), state / "outside", park, kind, subject))
    path = out or Path(name_of(where, kind, subject))
    try:
        path.write_bytes(made)
    except OSError as error:
        sys.exit(f"fieldledger: {path} cannot be written: {error.strerror}. Name another place with --out.")
    sys.stdout.write(f"{path}: {len(made):,} bytes. Verify it: fieldledger verify {path}\n")


async def _made(database_url: str, outside: Path, park: str | None, kind: str, subject: str) -> tuple[str, bytes]:
    async with park_of(database_url, park) as (pool, where), where.log:
        folder = Outside(private_folder(outside), where.park)
        rounds = Rounds(where, folder, lambda: asyncpg.connect(plain(database_url), command_timeout=30))
        return where.park, await case_of(where, pool, rounds.sign, kind, subject)


@VERIFY.default
def verify(file: Path, *, key: str = "") -> None:
    """Examine a case file, offline and without a database.

    Parameters
    ----------
    file
        The ZIP.
    key
        The park's verifier key, if you have it from elsewhere: `<name>+<id>+<key>`.

    """
    try:
        found = examine(file.read_bytes(), key.strip())
    except OSError as error:
        sys.exit(f"fieldledger: {file} cannot be read: {error.strerror}.")
    if found.wrong:
        sys.exit("\n".join([f"{file} is NOT what the park signed:", *found.wrong]))
    sys.stdout.write("\n".join(found.proven) + "\n")
