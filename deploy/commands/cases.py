"""`fieldledger audit case` makes a case file, with the park running or not."""

import os
import sys
from pathlib import Path

import asyncpg

from deploy.app import plain
from deploy.commands.asking import answered, park_of
from deploy.state import DEFAULT, private_folder
from deploy.upkeep import database_of
from services.audit.cases.routes import case_of, name_of
from services.core.settings import read
from services.evidence.outside import Outside
from services.evidence.rounds import Rounds


def case(kind: str, subject: str, *, out: Path | None = None, force: bool = False, park: str | None = None) -> None:
    """Make the case file of one subject: a ZIP that anybody can verify.

    Parameters
    ----------
    kind
        What it is: player, incident, marker, caution, field, game …
    subject
        Which one, as the record names it. The park and its rules are named as the park is.
    out
        Where to write it; in this folder, under a name of its own, when absent.
    force
        Write over a file that is there already.
    park
        Which park, where there are several.

    """
    settings = read(os.environ)
    state = Path(settings.state).absolute() if settings.state else DEFAULT
    where, made = answered(_made(database_of(settings), state / "outside", park, kind, subject))
    path = out or Path(name_of(where, kind, subject))
    try:
        with path.open("wb" if force else "xb") as file:
            file.write(made)
    except FileExistsError:
        sys.exit(
            f"fieldledger: {path} is there already, and was left as it is. Name another with --out, or write over it with --force."
        )
    except OSError as error:
        sys.exit(f"fieldledger: {path} cannot be written: {error.strerror}. Name another place with --out.")
    sys.stdout.write(f"{path}: {len(made):,} bytes. Verify it: fieldledger verify {path}\n")


async def _made(database_url: str, outside: Path, park: str | None, kind: str, subject: str) -> tuple[str, bytes]:
    async with park_of(database_url, park) as (pool, where), where.log:
        folder = Outside(private_folder(outside), where.park)
        rounds = Rounds(where, folder, lambda: asyncpg.connect(plain(database_url), command_timeout=30))
        return where.park, await case_of(where, pool, rounds.sign, kind, subject)
