"""Restore: a database that was brought back from a backup goes on as a new epoch of its log, whose first event says what was lost.

What is found is told first, and nothing is changed by that. To begin is one transaction; whatever else has to be put right comes
before it, or is done again when the park starts.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import uuid4

import asyncpg
import msgspec
from msgspec import Struct

from contracts import leaf
from contracts.catalogue import TYPES, tags_of
from contracts.envelope import Event
from contracts.evidence import EpochBegun, RestoreCause
from services.core import generations
from services.core.bus import Bus
from services.core.log import Head
from services.core.park import Park
from services.core.pool import Pool
from services.core.projection import Projection
from services.core.rebuild import rebuild
from services.core.rules import RULES, operating_day
from services.core.stream import BusUnavailable
from services.evidence import tiles
from services.evidence.finding import on
from services.evidence.known import end_of, end_on_bus, every_checkpoint
from services.evidence.outside import Outside
from services.evidence.restoration import Loss, NotRestored, Prefix, loss
from services.vault.ledger import reapply
from services.vault.safe import Vault
from services.vault.states import ERASURES

DEVICE = "terminal"
_SLICE = 1000
_DEVICES = "SELECT id, roles, enrolled_at, revoked_at FROM log.device WHERE park = $1 ORDER BY id"
_BEGIN = "SELECT log.begin_epoch($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)"


class Enrolled(Struct, frozen=True):
    """A device as the database knows it that was brought back."""

    id: str
    roles: tuple[str, ...]
    enrolled_at: datetime
    revoked_at: datetime | None

    @property
    def sentence(self) -> str:
        since = f"enrolled {on(self.enrolled_at)}"
        until = f", revoked {on(self.revoked_at)}" if self.revoked_at else ""
        return f"  {self.id} ({', '.join(self.roles)}), {since}{until}"


class Found(Struct, frozen=True, kw_only=True):
    """What a log that was brought back lacks, and what else has to be put right."""

    park: str
    head: Head
    loss: Loss
    ends: tuple[str, ...]
    """How far the log is known, in the words of each place outside."""
    checkpoint: str | None
    """The last note outside."""
    agreed: str
    erased: int
    """Persons who were erased after the backup, and can be read again."""
    rows: tuple[str, ...]
    """Projections whose rows are not of this life of the log."""
    tree: bool
    """Whether the stored tree has taken in what is lost."""
    devices: tuple[Enrolled, ...]

    @property
    def sentences(self) -> Iterator[str]:
        lost = self.loss
        yield f"{self.park}: the log ends at position {self.head.position} of epoch {self.head.epoch}."
        yield from self.ends
        yield self.agreed
        yield f"Lost, as far as is known: positions {lost.first} to {lost.last}. Devices send again what they have kept of it."
        if self.erased:
            yield f"Persons who were erased after the backup and can be read again: {self.erased}. They are erased again."
        if self.rows:
            yield f"The rows of {', '.join(self.rows)} are not of this log: they are made again from it."
        if self.tree:
            yield "The stored tree reaches beyond the log: it is made again from it."
        yield "A device that was enrolled after the backup cannot speak. One revoked after it may, where the folder outside does not say so: what stands there is revoked again as the park starts. Enrolled, as of the backup:"
        yield from (one.sentence for one in self.devices)
        yield "Go through them, and revoke again whichever should not speak."


async def look(park: Park, pool: Pool, folder: Path, bus: Bus | None, projections: Sequence[Projection[Any]]) -> Found:
    """What was found; changes nothing. Raises NotRestored where no epoch is to be begun, OutsideUnusable, VaultClosed."""
    log = park.log
    outside = Outside(folder, log.park)
    signed = every_checkpoint(outside, log.park)
    stream, told = await _bus(bus, log.park)
    head = await log.head()
    prefix = Prefix(signed, head.epoch)
    for after in range(0, head.position, _SLICE):
        for row in await log.tail(after, min(_SLICE, head.position - after)):
            prefix.take(row.leaf)
    prefix.end()
    lost = loss(head, [*map(end_of, signed), *([stream] if stream else [])], prefix)
    if lost is None:
        raise NotRestored(
            f"{log.park}: nothing is lost. The log ends at position {head.position} of epoch {head.epoch}, and no more of it is known "
            f"outside. {told}"
        )
    vault = Vault(pool, folder, log.park)
    given, _ = await park.load(lambda _: {(ERASURES, "")})
    async with pool.connection() as connection:
        astray = await generations.astray(connection, log.park)
        return Found(
            park=log.park,
            head=head,
            loss=lost,
            ends=(_last(signed[-1].epoch, signed[-1].size, signed[-1].signed_at) if signed else _NONE, told),
            checkpoint=outside.last(),
            agreed=_agreed(prefix),
            erased=len(vault.outside.erasures().keys() - given.of(ERASURES, "").erased.keys()),
            rows=tuple(one.name for one in projections if one.name in astray),
            tree=tiles.size_of(await tiles.edge(connection, log.park)) > head.position,
            devices=tuple(
                Enrolled(row["id"], tuple(row["roles"]), row["enrolled_at"], row["revoked_at"])
                for row in await connection.fetch(_DEVICES, log.park)
            ),
        )


_NONE = "No checkpoint is kept outside."


def _last(epoch: int, size: int, signed_at: datetime) -> str:
    return f"The last checkpoint outside covers {size} events of epoch {epoch}; it was signed on {on(signed_at)}."


def _agreed(prefix: Prefix) -> str:
    if prefix.agreed is None:
        return "No checkpoint is small enough to hold the log against: that it is a backup of this park's log is for you to say."
    return f"The log's first {prefix.agreed.size} events are those that were signed on {on(prefix.agreed.signed_at)}."


async def _bus(bus: Bus | None, park: str) -> tuple[Head | None, str]:
    if bus is None:
        return None, "The bus was not asked: there is none."
    try:
        end = await end_on_bus(bus, park)
    except BusUnavailable as error:
        return None, f"The bus could not be asked ({error})."
    if end is None:
        return None, "The bus holds nothing of this park."
    return end, f"The bus holds epoch {end.epoch} up to position {end.position}."


async def begin(  # noqa: PLR0913, PLR0917 - what the deed takes
    found: Found,
    park: Park,
    pool: Pool,
    admin_url: str,
    folder: Path,
    projections: Sequence[Projection[Any]],
    cause: RestoreCause,
) -> int:
    """Begin the epoch; returns its first position. Raises asyncpg.ObjectNotInPrerequisiteStateError where the log has moved since."""
    if found.tree:
        async with pool.connection() as connection:
            await tiles.forget(connection, park.park)
    for projection in projections:
        if projection.name in found.rows:
            await rebuild(projection, park.log, pool)
    vault = Vault(pool, folder, park.park)
    # Before the park goes on: whoever breaks off then leaves nobody readable who was erased.
    await vault.destroy(vault.outside.erasures())
    first = await _record(found, park, admin_url, cause)
    await reapply(park, vault)
    return first


async def _record(found: Found, park: Park, admin_url: str, cause: RestoreCause) -> int:
    data = EpochBegun(
        epoch=found.loss.epoch,
        checkpoint=found.checkpoint,
        lost_first=found.loss.first,
        lost_last=found.loss.last,
        cause=cause,
    )
    given, _ = await park.load(lambda _: ())
    now = await _not_before_its_end(park, found.head)
    event = Event(
        type=TYPES[EpochBegun],
        version=EpochBegun.VERSION,
        id=uuid4(),
        day=operating_day(given.of(RULES, "").rules, now),
        occurred_at=now,
        claimed_at=None,
        clock="server",
        device=DEVICE,
        device_seq=None,
        actor=None,
        tags=tags_of(data),
        data=msgspec.Raw(msgspec.json.encode(data)),
    )
    body = leaf.encode(event)
    row = (event.id, DEVICE, sha256(body).digest(), event.type, event.day, "\n".join(event.tags), body)
    connection = await asyncpg.connect(admin_url)
    try:
        return int(await connection.fetchval(_BEGIN, park.park, found.head.position, data.epoch, now, *row))
    finally:
        await connection.close()


async def _not_before_its_end(park: Park, head: Head) -> datetime:
    """The time, which in a log never goes back."""
    rows = await park.log.between(head.position, head.position)
    return max([park.clock.now(), *(leaf.decode(row.leaf).recorded_at for row in rows)])
