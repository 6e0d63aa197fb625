"""`fieldledger restore`: the deliberate act of a person who has brought the database back from a backup."""

import os
import sys
from pathlib import Path

import asyncpg
import uvloop

from contracts.evidence import RestoreCause
from contracts.problems import Refused
from deploy import restore as deed
from deploy.app import plain
from deploy.nats import last_urls
from deploy.services import PROJECTIONS
from deploy.state import DEFAULT, private_folder
from deploy.upkeep import admin_url, database_of, logs_of
from services.core.bus import Bus
from services.core.clock import SystemClock
from services.core.park import Park
from services.core.pool import LOST, Pool
from services.core.settings import Settings, read
from services.evidence.outside import Outside, OutsideUnusable
from services.evidence.restoration import NotRestored
from services.evidence.rounds import NotSigned, Rounds

_UNSIGNED: tuple[type[Exception], ...] = (NotSigned, OutsideUnusable, *LOST)


def restore(*, yes: bool = False, cause: RestoreCause = "backup", park: str | None = None) -> None:
    """Tell what a database that was brought back from a backup has lost and, with --yes, begin a new epoch of its log; the park may be running.

    Parameters
    ----------
    yes
        Begin it. Without, nothing is changed.
    cause
        What the database was brought back from.
    park
        Which park, where there are several.

    """
    settings = read(os.environ)
    try:
        state = Path(settings.state).absolute() if settings.state else DEFAULT
        outside = private_folder(state / "outside")
        uvloop.run(_restore(settings, outside, _bus(settings, state), park, cause if yes else None))
    except (NotRestored, OutsideUnusable) as error:
        sys.exit(f"fieldledger: {error}")
    except Refused as refused:
        sys.exit(f"fieldledger: {refused.detail}")
    except asyncpg.ObjectNotInPrerequisiteStateError as moved:
        sys.exit(f"fieldledger: {moved}. Look again.")
    except LOST as error:
        sys.exit(
            f"fieldledger: the database cannot be reached ({error}). Start the park, or the database, and try again."
        )


async def _restore(
    settings: Settings, outside: Path, bus: Bus | None, park: str | None, cause: RestoreCause | None
) -> None:
    try:
        async with logs_of(database_of(settings)) as (pool, logs):
            named = [log for log in logs if park in {None, log.park}]
            if len(named) != 1:
                sys.exit(
                    f"fieldledger: name one park with --park: {', '.join(log.park for log in logs) or 'there is none'}."
                )
            async with named[0] as log:
                where = Park(log.park, log, SystemClock())
                await _one(where, pool, outside, bus, plain(admin_url(settings)), cause)
    finally:
        if bus is not None:
            await bus.close()


async def _one(  # noqa: PLR0913, PLR0917 - what the deed takes
    park: Park, pool: Pool, folder: Path, bus: Bus | None, admin: str, cause: RestoreCause | None
) -> None:
    found = await deed.look(park, pool, folder, bus, PROJECTIONS)
    for sentence in found.sentences:
        _say(sentence)
    if cause is None:
        _say(f"Nothing was changed. To begin epoch {found.loss.epoch}: fieldledger restore --park {park.park} --yes")
        return
    first = await deed.begin(found, park, pool, admin, folder, PROJECTIONS, cause)
    _say(f"Epoch {found.loss.epoch} has begun at position {first}. Whatever devices have kept they may send again now.")
    _say(await first_checkpoint(park, Outside(folder, park.park), plain(pool.url)))


async def first_checkpoint(park: Park, outside: Outside, url: str) -> str:
    """Have the epoch's first checkpoint signed; the sentence what was signed, or why nothing was."""
    try:
        signed = await Rounds(park, outside, lambda: asyncpg.connect(url, command_timeout=30)).sign()
    except _UNSIGNED as error:
        return f"No checkpoint of it is signed yet: {error} The park signs one while it runs, or you do: fieldledger audit checkpoint --sign"
    return f"Its first checkpoint is signed, over {signed.checkpoint.size} events."


def _bus(settings: Settings, state: Path) -> Bus | None:
    """The bus that the park uses, or used last."""
    if settings.nats_url:
        return Bus(settings.nats_url)
    urls = last_urls(state)
    return None if urls is None else Bus(urls.service)


def _say(sentence: str) -> None:
    sys.stdout.write(f"{sentence}\n")
    sys.stdout.flush()
