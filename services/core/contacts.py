"""What each device said of itself when it was last heard: gathered as requests come, written down now and then, never on a request's way."""

from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime, timedelta
from typing import Annotated, Any, Final

import anyio
import msgspec
import structlog

from contracts.devices import Version
from contracts.words import Instant
from services.core.pool import LOST, Pool

EVERY: Final = 5.0
"""Seconds."""
_Seq = Annotated[int, msgspec.Meta(ge=0, le=2**62)]
_MOST_AHEAD: Final = 2**53
"""Milliseconds; what lies beyond is no clock."""
_WRITE = """
INSERT INTO log.device_contact AS known (park, device, seen_at, version, ahead_ms, last_seq)
SELECT * FROM unnest($1::text[], $2::text[], $3::timestamptz[], $4::text[], $5::bigint[], $6::bigint[])
ON CONFLICT (park, device) DO UPDATE SET
    seen_at = greatest(known.seen_at, excluded.seen_at),
    version = coalesce(excluded.version, known.version),
    ahead_ms = coalesce(excluded.ahead_ms, known.ahead_ms),
    last_seq = greatest(known.last_seq, excluded.last_seq)
"""
log = structlog.get_logger()


class Contact(msgspec.Struct):
    """What one device said since the last writing. `ahead_ms`: its clock against the park's, behind where it is less than 0."""

    seen_at: datetime
    version: str | None = None
    ahead_ms: int | None = None
    last_seq: int | None = None


class Contacts:
    """The contacts of all parks in this process."""

    def __init__(self, pool: Pool) -> None:
        self._pool = pool
        self._new: dict[tuple[str, str], Contact] = {}

    def heard(self, park: str, device: str, headers: Mapping[str, str], now: datetime) -> None:
        """A device has asked for something. What a header says that does not fit is passed over: it is no matter of the request."""
        contact = self._new.setdefault((park, device), Contact(now))
        contact.seen_at = now
        contact.version = _fitting(headers.get("device-version"), Version) or contact.version
        device_time: datetime | None = _fitting(headers.get("device-time"), Instant)
        if device_time is not None:
            ahead = (device_time - now) // timedelta(milliseconds=1)
            contact.ahead_ms = ahead if abs(ahead) < _MOST_AHEAD else contact.ahead_ms
        self.told(park, device, _fitting(headers.get("device-seq"), _Seq, strict=False))

    def told(self, park: str, device: str, seq: int | None) -> None:
        """A device that is being heard has told something under this number of its own count."""
        contact = self._new.get((park, device))
        if contact is not None and seq is not None:
            contact.last_seq = max(seq, contact.last_seq or 0)

    async def run(self) -> None:
        """Write down what was gathered every few seconds, and once more at the end."""
        try:
            while True:
                await anyio.sleep(EVERY)
                await self.write()
        finally:
            with anyio.CancelScope(shield=True), suppress(*LOST), anyio.move_on_after(2):
                await self.write()

    async def write(self) -> None:
        """Write down what was gathered; where the database is out of reach it is kept for the next time."""
        new, self._new = self._new, {}
        if not new:
            return
        rows = [(*whom, one.seen_at, one.version, one.ahead_ms, one.last_seq) for whom, one in sorted(new.items())]
        try:
            async with self._pool.connection() as connection:
                await connection.execute(_WRITE, *map(list, zip(*rows, strict=True)))
        except LOST as error:
            log.warning("contacts not written", error=repr(error))
            self._new = new | self._new


def _fitting(value: str | None, kind: Any, *, strict: bool = True) -> Any:
    if value is None:
        return None
    try:
        return msgspec.convert(value, kind, strict=strict)
    except msgspec.ValidationError:
        return None
