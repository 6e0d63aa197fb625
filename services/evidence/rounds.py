"""A round of signing: the tree grown to the log's end, held against the last checkpoint outside, and its head signed.

Any process may do a round; a lock in the database makes them take turns. A checkpoint is first kept outside, then in the
database: whatever a crash leaves undone is done by the next round.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from functools import partial

import asyncpg

from contracts.leaf import leaf_hashes
from services.core.log import Head
from services.core.park import Park
from services.evidence import checkpoints, note, tiles
from services.evidence.checkpoint import Checkpoint, CheckpointError, origin_of
from services.evidence.keyring import Keyring, Signed
from services.evidence.note import NoteError
from services.evidence.outside import Outside
from services.evidence.proofs import opened
from services.evidence.tree import root_at

__all__ = ["SLICE", "Connect", "NotSigned", "Rounds", "Signed"]

Connect = Callable[[], Awaitable[asyncpg.Connection]]
SLICE = 1000
"""Events hashed at a time: some milliseconds, in which nobody else in the process is served."""
_BRING_BACK = "If the database was brought back from a backup, a new epoch is begun by: fieldledger restore."
_CHECK = "`fieldledger audit check` finds what."
LOCK = "SELECT pg_advisory_xact_lock(hashtextextended('fieldledger evidence ' || $1, 0))"


class NotSigned(Exception):  # noqa: N818 - a state of the world, not a mistake
    """No checkpoint is signed, since the log does not continue what was signed before: a person must look."""


class Rounds:
    """Rounds of one park. `connect` gives a database connection that nobody else uses."""

    def __init__(self, park: Park, outside: Outside, connect: Connect) -> None:
        self._park = park
        self._outside = outside
        self._keyring = Keyring(park, outside)
        self._connect = connect

    async def sign(self, *, new_key: bool = False) -> Signed:
        """A checkpoint over the whole log; the last one again where nothing is new. Raises NotSigned, OutsideUnusable."""
        connection = await self._connect()
        try:
            try:
                return await self._round(connection, new_key=new_key)
            except tiles.TilesMissing:
                await self._forget(connection)
                return await self._round(connection, new_key=new_key)
        finally:
            connection.terminate()

    async def forget(self) -> None:
        """Drop the stored tree, since some of it is missing; the next round makes it again from the log."""
        connection = await self._connect()
        try:
            await self._forget(connection)
        finally:
            connection.terminate()

    async def _forget(self, connection: asyncpg.Connection) -> None:
        async with self._alone(connection):
            await tiles.forget(connection, self._park.park)

    async def _round(self, connection: asyncpg.Connection, *, new_key: bool) -> Signed:
        growing = True
        while growing:  # each slice in a transaction of its own: a long one would slow down whoever appends
            async with self._alone(connection):
                growing = await self._grow(connection)
        async with self._alone(connection):
            return await self._conclude(connection, new_key=new_key)

    @asynccontextmanager
    async def _alone(self, connection: asyncpg.Connection) -> AsyncIterator[None]:
        async with connection.transaction():
            await connection.execute(LOCK, self._park.park)
            yield

    async def _grow(self, connection: asyncpg.Connection) -> bool:
        """Take in the next events; whether there may be more. Raises NotSigned unless the stored tree ends with the log's own event."""
        edge = await tiles.edge(connection, self._park.park)
        size = tiles.size_of(edge)
        rows = await self._park.log.tail(max(0, size - 1), SLICE + 1)
        end = rows[-1].position if rows else 0
        if end < size:
            raise NotSigned(
                f"The log ends before position {size}, which its tree has taken in: events are gone. {_BRING_BACK}"
            )
        if end != max(0, size - 1) + len(rows):
            raise NotSigned(f"The log has a hole between positions {size} and {end}. {_CHECK}")
        hashes = leaf_hashes(row.leaf for row in rows)
        if size and hashes.pop(0) != tiles.last_of(edge):
            raise NotSigned(
                f"Position {size} is not the event that the log's tree has taken in: it was changed. {_CHECK}"
            )
        if hashes:
            await tiles.write(connection, self._park.park, tiles.grown(edge, hashes))
        return len(rows) > SLICE

    async def _conclude(self, connection: asyncpg.Connection, *, new_key: bool) -> Signed:
        head = await self._park.log.head()
        last = await self._last(head)
        await self._refuse_unless_continued(connection, head, last)
        keys = await self._keyring.signers(head.epoch, last, new_key=new_key)
        while await self._grow(connection):
            pass
        size = tiles.size_of(await tiles.edge(connection, self._park.park))
        if last is None or (last.checkpoint.size, last.signers[-1]) != (size, keys[-1]):
            root = await tiles.ask(connection, self._park.park, partial(root_at, size=size))
            made = Checkpoint.at(origin_of(self._park.park, head.epoch), size, root, self._park.clock.now())
            last = Signed(made, note.sign(made.text, keys), keys)
            await asyncio.to_thread(self._outside.append, last.note)
        await checkpoints.keep(connection, self._park.park, [last.note])
        return last

    async def _last(self, head: Head) -> Signed | None:
        """The last checkpoint outside, its signature verified."""
        text = await asyncio.to_thread(self._outside.last)
        if text is None:
            return None
        keys = {key.verifier: key for key in await asyncio.to_thread(self._outside.keys)}
        try:
            read = note.read(text)
            signers = read.open(keys)
            checkpoint = Checkpoint.parse(read.text)
            park, epoch = checkpoint.park, checkpoint.epoch
        except (NoteError, CheckpointError) as error:
            raise NotSigned(f"The last checkpoint outside the database is not one of this park's. {error}") from error
        if park != self._park.park or epoch > head.epoch:
            raise NotSigned(
                f"The last checkpoint outside the database is of {checkpoint.origin}, the log is {origin_of(self._park.park, head.epoch)}."
            )
        order = list(keys)
        return Signed(checkpoint, text, tuple(keys[one] for one in sorted(signers, key=order.index)))

    async def _refuse_unless_continued(self, connection: asyncpg.Connection, head: Head, last: Signed | None) -> None:
        """Raises NotSigned unless the log goes on from what was signed in this epoch; what an earlier one lost is named where it ended."""
        here = last.checkpoint if last is not None and last.checkpoint.epoch == head.epoch else None
        covered = 0 if here is None else here.size
        if head.position < covered:
            raise NotSigned(
                f"The log ends at position {head.position}, but the last checkpoint outside covers {covered}: events are gone. {_BRING_BACK}"
            )
        kept = await checkpoints.newest(connection, self._park.park)
        if kept is not None and kept.epoch == head.epoch and kept.size > covered:
            raise NotSigned(
                f"The database keeps a checkpoint over {kept.size} events, but the last one outside covers {covered}: the file outside was exchanged or cut. Put it back from its copy."
            )
        if here is not None:
            root = await tiles.ask(connection, self._park.park, partial(root_at, size=covered))
            if root != here.root:
                raise NotSigned(
                    f"The first {covered} events are not those that the last checkpoint outside covers: the log was changed. {_CHECK}"
                )
        if last is not None and not await checkpoints.holds(connection, self._park.park, last.checkpoint):
            await self._catch_up(connection, last)
        if last is not None and here is None:
            await self._refuse_unless_begun(connection, head.epoch)

    async def _refuse_unless_begun(self, connection: asyncpg.Connection, epoch: int) -> None:
        """Raises NotSigned unless the log says with which event this epoch began, and goes on from what was signed before and is not lost."""
        if not await checkpoints.begun(connection, self._park.park, epoch):
            raise NotSigned(
                f"The log is in epoch {epoch}, but holds no event with which that began. Only `fieldledger restore` begins one; {_CHECK}"
            )
        kept = await checkpoints.newest(connection, self._park.park)
        if kept is None:
            return
        known = [key.verifier for key in await asyncio.to_thread(self._outside.keys)]
        try:
            before = opened(kept.note, known)
        except (NoteError, CheckpointError) as error:
            raise NotSigned(f"The last checkpoint before epoch {epoch} cannot be believed. {error}") from error
        if await tiles.ask(connection, self._park.park, partial(root_at, size=before.size)) != before.root:
            raise NotSigned(
                f"The first {before.size} events are not those that were signed before epoch {epoch} began: the log was changed. {_CHECK}"
            )

    async def _catch_up(self, connection: asyncpg.Connection, last: Signed) -> None:
        """Copy in what a crash, or a database brought back, has left outside only."""
        try:
            await checkpoints.keep(connection, self._park.park, await asyncio.to_thread(self._outside.notes))
        except (NoteError, CheckpointError) as error:
            raise NotSigned(f"The checkpoints outside the database cannot all be read. {error}") from error
        if not await checkpoints.holds(connection, self._park.park, last.checkpoint):
            raise NotSigned(
                f"The database keeps another checkpoint over {last.checkpoint.size} events than the last one outside: one of them was exchanged."
            )
