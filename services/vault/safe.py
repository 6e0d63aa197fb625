"""The vault of one park: sealed details and wrapped keys in the database, opened by the master key that lies outside."""

import asyncio
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from uuid import UUID

from contracts.problems import IdempotencyKeyReused, Unavailable
from services.core.pool import Pool
from services.vault.outside import Outside, VaultClosed
from services.vault.sealing import Label, MasterKey, PersonKey, SealBroken

_KEY = "SELECT wrapped FROM vault.person_key WHERE park = $1 AND person = $2"
_ANY_KEY = "SELECT EXISTS (SELECT FROM vault.person_key WHERE park = $1)"
_NEW_KEY = "INSERT INTO vault.person_key VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING"
_SEALED = "SELECT sealed FROM vault.detail WHERE park = $1 AND event = $2"
_ALL_SEALED = "SELECT event, sealed FROM vault.detail WHERE park = $1 AND person = $2"
_PUT = "INSERT INTO vault.detail VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT DO NOTHING"
_DESTROY_KEYS = "DELETE FROM vault.person_key WHERE park = $1 AND person = ANY ($2)"
_DESTROY_DETAILS = "DELETE FROM vault.detail WHERE park = $1 AND person = ANY ($2)"


class Vault:
    """Keeps, opens and destroys. It decides nothing: the rules stand in the model."""

    def __init__(self, pool: Pool, folder: Path, park: str) -> None:
        self.park = park
        self.outside = Outside(folder, park)
        self.settled = False
        """Whether every erasure that is known has been carried out since this process started."""
        self._pool = pool
        self._master: MasterKey | None = None

    async def key(self, person: str) -> PersonKey | None:
        """A person's key, or None where there is none; raises VaultClosed when it cannot be unwrapped."""
        async with self._pool.connection() as connection:
            wrapped = await connection.fetchval(_KEY, self.park, person)
        if wrapped is None:
            return None
        try:
            return (await self._master_key()).unwrap(self.park, person, wrapped)
        except SealBroken:
            self._master = None  # read again, once the right one lies there
            raise VaultClosed(
                f"{self.outside.master.name} is not the key of this vault. Put back the right one."
            ) from None

    async def key_for(self, person: str, now: datetime) -> PersonKey:
        """A person's key, made if there is none."""
        key = await self.key(person)
        if key is not None:
            return key
        wrapped = (await self._master_key()).new(self.park, person)
        async with self._pool.connection() as connection:
            await connection.execute(_NEW_KEY, self.park, person, wrapped, now)
        key = await self.key(person)  # of two that make one at once, the first stands
        if key is None:
            raise Unavailable("That person was being erased at this moment. Nothing was recorded; send the same again.")
        return key

    async def _master_key(self) -> MasterKey:
        """The park's master key. A vault that holds keys but lacks it is closed: a new one would open nothing."""
        if self._master is None:
            self._master = self.outside.master_key()
        while self._master is None:
            async with self._pool.connection() as connection:
                if await connection.fetchval(_ANY_KEY, self.park):
                    raise VaultClosed(
                        f"{self.outside.master.name} is gone, and nothing opens without it. Put back the copy."
                    )
            await asyncio.to_thread(self.outside.make_master_key)
            self._master = self.outside.master_key()
        return self._master

    async def put(self, event: UUID, label: Label, text: str, key: PersonKey, now: datetime) -> None:
        """Seal a detail, to be named by this event; what lies there already must be the same.

        Raises IdempotencyKeyReused when it is not.
        """
        async with self._pool.connection() as connection:
            row = (self.park, event, label.person, label.entry, label.kind, key.seal(label, text), now)
            await connection.execute(_PUT, *row)
            sealed = await connection.fetchval(_SEALED, self.park, event)
        if sealed is None or opened(key, label, sealed) != text:
            raise IdempotencyKeyReused(
                f"Idempotency-Key {event} already names another request. Use a new UUIDv7 for each new request."
            )

    async def details(self, person: str) -> dict[UUID, bytes]:
        """What lies in the vault about a person, still sealed, by event."""
        async with self._pool.connection() as connection:
            return {
                UUID(str(event)): sealed for event, sealed in await connection.fetch(_ALL_SEALED, self.park, person)
            }

    async def destroy(self, persons: Iterable[str]) -> None:
        """Destroy keys and sealed details. Nothing of these persons can be read here again."""
        names = list(persons)
        async with self._pool.connection() as connection, connection.transaction():
            await connection.execute(_DESTROY_KEYS, self.park, names)
            await connection.execute(_DESTROY_DETAILS, self.park, names)


def opened(key: PersonKey, label: Label, sealed: bytes) -> str | None:
    """The text of a detail, or None where it was not sealed for this."""
    try:
        return key.open(label, sealed)
    except SealBroken:
        return None
