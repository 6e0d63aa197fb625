"""`fieldledger audit check`: whether the record still is what was recorded."""

import os
import sys
import time
from pathlib import Path

import asyncpg
import msgspec
import uvloop

from deploy.state import DEFAULT
from deploy.upkeep import database_of
from services.core.pool import LOST, Pool
from services.core.settings import read
from services.evidence.outside import Outside
from services.evidence.outside import parks as parks_outside
from services.evidence.report import Report, Tell
from services.evidence.report import check as check_park
from services.evidence.rows import parks as parks_inside

_SELDOM = 10.0
"""Seconds between two words about how far it is."""


def check(*, park: str | None = None, json: bool = False) -> None:
    """Hold every row of the log against the recorded bytes, and these against what was signed; exit 1 with findings.

    Parameters
    ----------
    park
        The park to check; without it, every park of the database.
    json
        One line of JSON a park, for a program.

    """
    settings = read(os.environ)
    outside = (Path(settings.state).absolute() if settings.state else DEFAULT) / "outside"
    try:
        reports = uvloop.run(check_all(database_of(settings), outside, park))
        if not reports:
            sys.exit("fieldledger: There is no park in this database, and none is known outside: nothing was checked.")
    except LookupError as error:
        sys.exit(f"fieldledger: {error.args[0]}")
    except LOST as error:
        sys.exit(
            f"fieldledger: the database cannot be reached ({error}). Start the park, or the database, and check again."
        )
    except asyncpg.PostgresError as error:
        sys.exit(
            f"fieldledger: the database cannot be checked ({error}): its tables or rights are not those that the park made."
        )
    for report in reports:
        told = [msgspec.json.encode(report).decode()] if json else report.sentences
        sys.stdout.writelines(f"{line}\n" for line in told)
    if any(report.found for report in reports):
        sys.exit(1)


async def check_all(database_url: str, outside: Path, park: str | None = None) -> list[Report]:
    """The reports on one park, or on all that are known in the database or outside. Raises LookupError where there is no such park."""
    pool = Pool(database_url)
    try:
        if park is None:
            async with pool.connection() as connection:
                parks = sorted(await parks_inside(connection) | parks_outside(outside))
        else:
            parks = [park]
        return [await check_park(one, pool, Outside(outside, one), _progress(one)) for one in parks]
    finally:
        await pool.close()


def _progress(park: str) -> Tell:
    due = time.monotonic() + _SELDOM

    def tell(done: int, events: int) -> None:
        nonlocal due
        if time.monotonic() >= due:
            due = time.monotonic() + _SELDOM
            sys.stderr.write(f"{park}: {done:,} of {events:,} events\n")

    return tell
