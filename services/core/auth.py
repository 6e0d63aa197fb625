"""Device keys: who may ask what. A key is `<device>.<secret>`; only an HMAC-SHA-256 of the secret is stored."""

import asyncio
import hmac
import secrets
import time
from collections.abc import Iterable, Mapping
from hashlib import sha256

from msgspec import Struct

from contracts.problems import KeyRevoked, NotAllowed, NotAuthenticated
from contracts.words import Role
from services.core.clock import Clock
from services.core.contacts import Contacts
from services.core.pool import Pool
from services.core.rights import named
from services.core.tries import Tries

KEPT_SECONDS = 0.5
"""A revocation holds everywhere within a second."""
_KNOWN = "SELECT id, secret_hash, roles, revoked_at IS NOT NULL FROM log.device WHERE park = $1"
_ENROL = """
INSERT INTO log.device AS known (park, id, name, roles, station, secret_hash, enrolled_at, position) VALUES ($1, $2, $2, $3, $4, $5, $7, $6)
ON CONFLICT (park, id) DO UPDATE SET
    roles = excluded.roles, station = excluded.station, secret_hash = excluded.secret_hash, enrolled_at = excluded.enrolled_at,
    revoked_at = NULL, position = excluded.position
WHERE known.position < excluded.position OR (known.position = 0 AND excluded.position = 0)
"""
_REVOKE = "UPDATE log.device SET revoked_at = $3 WHERE park = $1 AND id = $2 AND revoked_at IS NULL"
_REVOKE_AT = """
INSERT INTO log.device AS known (park, id, name, roles, secret_hash, enrolled_at, revoked_at, position) VALUES ($1, $2, $2, '{}', '', $4, $4, $3)
ON CONFLICT (park, id) DO UPDATE SET revoked_at = coalesce(known.revoked_at, $4), position = excluded.position
WHERE known.position < excluded.position
"""


_REVOKE_KEYS = """
UPDATE log.device AS known SET revoked_at = $4 FROM unnest($2::text[], $3::bytea[]) AS dead (id, secret_hash)
WHERE known.park = $1 AND known.id = dead.id AND known.secret_hash = dead.secret_hash AND known.revoked_at IS NULL RETURNING known.id
"""


class Device(Struct, frozen=True):
    """Whose key a request bears. `revoked` is seen only where a revoked device's backlog is taken, to be set aside."""

    id: str
    roles: frozenset[Role]
    revoked: bool = False


class _Enrolled(Struct, frozen=True):
    device: Device
    secret_hash: bytes

    def has(self, secret: str) -> bool:
        return hmac.compare_digest(self.secret_hash, secret_hash(self.device.id, secret))


Known = Mapping[str, _Enrolled]
"""The enrolled devices of one park, by their names."""


class Devices:
    """The enrolled devices of all parks."""

    def __init__(self, pool: Pool, clock: Clock) -> None:
        self.contacts = Contacts(pool)
        self.tries = Tries()
        self._pool = pool
        self._clock = clock
        self._known: dict[str, tuple[float, Known]] = {}
        self._looking: dict[str, asyncio.Task[Known]] = {}

    async def identify(
        self, park: str, authorization: str | None, address: str = "", *, backlog: bool = False
    ) -> Device:
        """The device that a request's Authorization header proves.

        Raises NotAuthenticated, KeyRevoked (but for a `backlog`, which is set aside), or TooManyTries.
        """
        name, secret = _parsed(authorization)
        here = (park, name, address)
        known = await self._of(park)
        if not (_opens(known, name, secret) and self.tries.knows(here, known[name].secret_hash)):
            self.tries.must_not_wait(here)
        if not _opens(known, name, secret):
            by_address, by_device = ("address", address), ("device", park, name)
            self.tries.must_not_wait(by_address, by_device)
            known = await self._look(park)  # it may have been enrolled a moment ago, by another process
            if not _opens(known, name, secret):
                await self.tries.wrong(by_address, by_device, here)
                raise NotAuthenticated(
                    "That key opens nothing here: it is mistyped, or was made for another park. Ask a manager for a new one."
                )
        self.tries.right(here, known[name].secret_hash)
        device = known[name].device
        if device.revoked and not backlog:
            raise KeyRevoked("This device's key has been revoked. Keep what it recorded, and ask a manager.")
        return device

    async def _of(self, park: str) -> Known:
        until, known = self._known.get(park, (0.0, {}))
        if until > time.monotonic():
            return known
        looking = self._looking.get(park)
        if looking is None:
            looking = self._looking[park] = asyncio.create_task(self._look(park))
            looking.add_done_callback(lambda _: self._looking.pop(park))
        return await asyncio.shield(looking)  # others may wait for the same answer

    async def _look(self, park: str) -> Known:
        """The devices as the database has them now."""
        asked_at = time.monotonic()
        async with self._pool.connection() as connection:
            rows = await connection.fetch(_KNOWN, park)
        known = {row[0]: _Enrolled(Device(row[0], frozenset(row[2]), row[3]), row[1]) for row in rows}
        if self._known.get(park, (0.0, {}))[0] < asked_at + KEPT_SECONDS:
            self._known[park] = (asked_at + KEPT_SECONDS, known)
        return known

    async def enrol(
        self, park: str, device: str, roles: frozenset[Role], station: str | None, position: int = 0
    ) -> str:
        """Enrol a device and return its key, which is shown this once; any key that it had before opens nothing from now on.

        `position`: of the event that enrols it; 0 for a park's first device, which nobody can have invited.
        Raises KeyRevoked where a later event has revoked it, or enrolled it anew.
        """
        secret = secrets.token_urlsafe(32)
        async with self._pool.connection() as connection:
            done = await connection.execute(
                _ENROL, park, device, sorted(roles), station, secret_hash(device, secret), position, self._clock.now()
            )
        if done == "INSERT 0 0":
            raise KeyRevoked(f"{device} was enrolled or revoked meanwhile. Ask a manager.")
        self._known.pop(park, None)
        return f"{device}.{secret}"

    async def revoke(self, park: str, device: str) -> None:
        """The key opens nothing any more."""
        async with self._pool.connection() as connection:
            await connection.execute(_REVOKE, park, device, self._clock.now())
        self._known.pop(park, None)

    async def revoked_at(self, park: str, device: str, position: int) -> None:
        """The event at this position revoked the device: no enrolment from before it holds, not even one that is written down later."""
        async with self._pool.connection() as connection:
            await connection.execute(_REVOKE_AT, park, device, position, self._clock.now())
        self._known.pop(park, None)

    async def key_hash(self, park: str, device: str) -> bytes | None:
        """The hash of the device's secret; None: it was never enrolled."""
        known = await self._look(park)
        return known[device].secret_hash if device in known else None

    async def revoke_keys(self, park: str, keys: Iterable[tuple[str, bytes]]) -> list[str]:
        """Revoke these very keys, each a device and its secret's hash, where they are alive; returns the devices."""
        names, hashes = [list(column) for column in zip(*keys, strict=True)] or ([], [])
        async with self._pool.connection() as connection:
            rows = await connection.fetch(_REVOKE_KEYS, park, names, hashes, self._clock.now())
        self._known.pop(park, None)
        return [row[0] for row in rows]


def _parsed(authorization: str | None) -> tuple[str, str]:
    scheme, _, key = (authorization or "").partition(" ")
    device, _, secret = key.strip().rpartition(".")
    if scheme.lower() != "bearer" or not device or not secret:
        raise NotAuthenticated("Send the device's key in the header: Authorization: Bearer <device>.<secret>.")
    return device, secret


def hash_of(authorization: str | None) -> bytes:
    """What would be stored of the secret in this header."""
    return secret_hash(*_parsed(authorization))


def _opens(known: Known, device: str, secret: str) -> bool:
    return device in known and known[device].has(secret)


def secret_hash(device: str, secret: str) -> bytes:
    """What is stored of a secret; keyed with the device's name, so that no two devices' hashes can be exchanged."""
    return hmac.digest(device.encode(), secret.encode(), sha256)


def require(device: Device, roles: frozenset[Role]) -> None:
    """Raises NotAllowed unless the device holds one of these roles."""
    if not device.roles & roles:
        raise NotAllowed(
            f"This device's key is for {named(device.roles)}; this takes one of {named(roles)}. Use such a device, or ask a manager."
        )
