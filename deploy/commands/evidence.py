"""`fieldledger audit checkpoint`, `rotate-key`, `proof`, `consistency`: what proves the record, with the park running or not."""

import os
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import asyncpg
import msgspec
from msgspec import Struct

from contracts.evidence import SignedCheckpoint
from contracts.problems import NotFound
from deploy.app import plain
from deploy.commands.asking import ask
from deploy.state import DEFAULT
from deploy.upkeep import database_of
from services.core.log import Log
from services.core.park import Park
from services.core.pool import LOST
from services.core.settings import read
from services.evidence import checkpoints, library
from services.evidence.outside import Outside, OutsideUnusable
from services.evidence.rounds import NotSigned, Rounds
from services.evidence.tiles import TilesMissing


class Desk(Struct, frozen=True):
    """One park's log, a connection of its own, and the rounds that sign for it."""

    log: Log
    connection: asyncpg.Connection
    rounds: Rounds

    async def newest(self) -> SignedCheckpoint:
        found = await checkpoints.newest(self.connection, self.log.park)
        if found is None:
            raise NotFound(f"No checkpoint has been signed for {self.log.park} yet. Have one signed with --sign.")
        return found

    async def of_size(self, size: int) -> SignedCheckpoint:
        found = await checkpoints.of_size(self.connection, self.log.park, size)
        if found is None:
            raise NotFound(f"No checkpoint of {self.log.park} was signed over {size} events.")
        return found


def checkpoint(*, park: str | None = None, sign: bool = False) -> None:
    """Print the newest checkpoint, a signed note.

    Parameters
    ----------
    park
        The park; not needed where the database has only one.
    sign
        Have one signed now, over all that is recorded.

    """

    async def answer(desk: Desk) -> str:
        return (await desk.rounds.sign()).note if sign else (await desk.newest()).note

    _print(answer, park)


def rotate_key(*, park: str | None = None) -> None:
    """Adopt a new signing key, and print the checkpoint that it and the one it replaces have signed.

    Parameters
    ----------
    park
        The park; not needed where the database has only one.

    """

    async def answer(desk: Desk) -> str:
        return (await desk.rounds.sign(new_key=True)).note

    _print(answer, park)


def proof(position: int, *, size: int | None = None, park: str | None = None) -> None:
    """Print as JSON the proof that an event lies under a checkpoint.

    Parameters
    ----------
    position
        The event's number in the log.
    size
        How many events the checkpoint covers; the newest unless said.
    park
        The park; not needed where the database has only one.

    """

    async def answer(desk: Desk) -> str:
        under = await (desk.newest() if size is None else desk.of_size(size))
        if not 1 <= position <= under.size:
            raise NotFound(f"Position {position} is not under that checkpoint, which covers 1 to {under.size}.")
        return _json(await library.proof(desk.connection, desk.log, position, under))

    _print(answer, park)


def consistency(first: int, second: int, *, park: str | None = None) -> None:
    """Print as JSON the proof that between two checkpoints nothing was changed, only added.

    Parameters
    ----------
    first
        How many events the earlier one covers.
    second
        How many the later one covers.
    park
        The park; not needed where the database has only one.

    """

    async def answer(desk: Desk) -> str:
        if first > second:
            raise NotFound(f"{first} is more than {second}: name the smaller checkpoint first.")
        one, other = await desk.of_size(first), await desk.of_size(second)
        return _json(await library.consistency(desk.connection, desk.log.park, one, other))

    _print(answer, park)


def _print(answer: Callable[[Desk], Awaitable[str]], park: str | None) -> None:
    """Print what a question is answered, or end with the sentence why it is not."""
    settings = read(os.environ)
    outside = (Path(settings.state).absolute() if settings.state else DEFAULT) / "outside"

    async def question(where: Park) -> str:
        async with _desk(where, plain(database_of(settings)), outside) as desk:
            return await answer(desk)

    try:
        sys.stdout.write(ask(park, question))
    except (NotSigned, OutsideUnusable, TilesMissing) as error:
        sys.exit(f"fieldledger: {error}")
    except LOST as error:
        sys.exit(
            f"fieldledger: the database cannot be reached ({error}). Start the park, or the database, and ask again."
        )


@asynccontextmanager
async def _desk(park: Park, url: str, outside: Path) -> AsyncIterator[Desk]:
    connection = await asyncpg.connect(url)
    try:
        async with park.log as log:
            yield Desk(log, connection, Rounds(park, Outside(outside, park.park), lambda: asyncpg.connect(url)))
    finally:
        await connection.close()


def _json(found: Struct) -> str:
    return msgspec.json.format(msgspec.json.encode(found), indent=1).decode() + "\n"
