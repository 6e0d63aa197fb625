"""Device keys: who may ask what. A key is `<device>.<secret>`; only an HMAC-SHA-256 of the secret is stored."""

import asyncio
import hmac
import secrets
import time
from hashlib import sha256

from msgspec import Struct

from contracts.problems import NotAllowed, NotAuthenticated
from contracts.words import Role
from services.core.pool import Pool

KEPT_SECONDS = 0.5
"""A revocation holds everywhere within a second."""
_FIND = "SELECT secret_hash, roles, revoked_at IS NOT NULL FROM log.device WHERE park = $1 AND id = $2"
_ENROL = "INSERT INTO log.device (park, id, name, roles, station, secret_hash, enrolled_at) VALUES ($1, $2, $3, $4, $5, $6, now())"
_REVOKE = "UPDATE log.device SET revoked_at = now() WHERE park = $1 AND id = $2 AND revoked_at IS NULL"


class Device(Struct, frozen=True):
    id: str
    roles: frozenset[Role]


class Devices:
    """The enrolled devices of all parks."""

    def __init__(self, pool: Pool) -> None:
        self._pool = pool
        self._kept: dict[tuple[str, str], tuple[float, Device]] = {}
        self._looking: dict[tuple[str, str], asyncio.Task[Device]] = {}

    async def identify(self, park: str, authorization: str | None) -> Device:
        """The device that a request's Authorization header proves; raises NotAuthenticated."""
        scheme, _, key = (authorization or "").partition(" ")
        device, _, secret = key.strip().partition(".")
        if scheme.lower() != "bearer" or not device or not secret:
            raise NotAuthenticated("Send the device's key in the header: Authorization: Bearer <device>.<secret>.")
        kept = self._kept.get((park, key))
        if kept is not None and kept[0] > time.monotonic():
            return kept[1]
        looking = self._looking.get((park, key))
        if looking is None:
            looking = asyncio.create_task(self._look(park, key, device, secret))
            self._looking[park, key] = looking
            looking.add_done_callback(lambda _: self._looking.pop((park, key)))
        return await asyncio.shield(looking)  # others may wait for the same answer

    async def _look(self, park: str, key: str, device: str, secret: str) -> Device:
        asked_at = time.monotonic()
        found = await self._verify(park, device, secret)
        if len(self._kept) > 10_000:
            self._kept.clear()
        self._kept[park, key] = (asked_at + KEPT_SECONDS, found)
        return found

    async def _verify(self, park: str, device: str, secret: str) -> Device:
        async with self._pool.connection() as connection:
            row = await connection.fetchrow(_FIND, park, device)
        if row is None or not hmac.compare_digest(row[0], secret_hash(device, secret)):
            raise NotAuthenticated(
                "That key opens nothing here: it is mistyped, or was made for another park. Ask a manager for a new one."
            )
        if row[2]:
            raise NotAuthenticated("This device's key has been revoked. Keep what it recorded, and ask a manager.")
        return Device(device, frozenset(row[1]))

    async def enrol(self, park: str, device: str, roles: frozenset[Role], station: str) -> str:
        """Enrol a device and return its key, which is shown this once."""
        secret = secrets.token_urlsafe(32)
        async with self._pool.connection() as connection:
            await connection.execute(_ENROL, park, device, device, sorted(roles), station, secret_hash(device, secret))
        return f"{device}.{secret}"

    async def revoke(self, park: str, device: str) -> None:
        async with self._pool.connection() as connection:
            await connection.execute(_REVOKE, park, device)


def secret_hash(device: str, secret: str) -> bytes:
    """What is stored of a secret; keyed with the device's name, so that no two devices' hashes can be exchanged."""
    return hmac.digest(device.encode(), secret.encode(), sha256)


def require(device: Device, roles: frozenset[Role]) -> None:
    """Raises NotAllowed unless the device holds one of these roles."""
    if not device.roles & roles:
        raise NotAllowed(
            f"This device's key is for {', '.join(sorted(device.roles))}; this takes one of {', '.join(sorted(roles))}. Use such a device, or ask a manager."
        )
