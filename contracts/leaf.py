"""The leaf: the frame of bytes that is the evidence of one event, and what every signature covers.

A leaf is text: five lines (`fieldledger leaf 1`, park, epoch, position, recorded_at in microseconds since 1970-01-01T00:00Z), each
ended by a line feed, then the event's own bytes, which are JSON. Its hash is SHA-256 over a zero byte and the leaf (RFC 9162 §2.1.1).
"""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from hashlib import sha256

import msgspec

from contracts.catalogue import decode_data
from contracts.envelope import UNREADABLE, Data, Event, Recorded

FRAME = b"fieldledger leaf 1"
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_event = msgspec.json.Decoder(Event)


class LeafError(ValueError):
    """These bytes are no leaf of a version that this software reads."""


def encode(event: Event) -> bytes:
    """An event's own bytes."""
    return msgspec.json.encode(event)


def frame(park: str, epoch: int, position: int, recorded_at: datetime, body: bytes) -> bytes:
    """The leaf of an event's own bytes at a place in the log."""
    micros = (recorded_at - _EPOCH) // _MICROSECOND
    return b"%s\n%s\n%d\n%d\n%d\n%s" % (FRAME, park.encode(), epoch, position, micros, body)


def decode(leaf: bytes) -> Recorded[Data]:
    """The event in a leaf. Data that this version cannot read becomes `Unknown`; bytes that are no leaf raise LeafError."""
    parts = leaf.split(b"\n", 5)
    if len(parts) != 6 or parts[0] != FRAME:
        raise LeafError(f"not a leaf: {leaf[:40]!r}")
    _, park, epoch, position, micros, body = parts
    try:
        event = _event.decode(body)
        return Recorded(
            park.decode(),
            int(epoch),
            int(position),
            _EPOCH + timedelta(microseconds=int(micros)),
            event.id,
            event.type,
            event.day,
            event.occurred_at,
            event.claimed_at,
            event.clock,
            event.device,
            event.device_seq,
            event.actor,
            event.tags,
            decode_data(event.type, event.version, event.data),
        )
    except (*UNREADABLE, ValueError, OverflowError) as error:
        raise LeafError(f"not a leaf: {error}") from error


def epoch_of(leaf: bytes) -> int:
    """The epoch of a leaf, read off its third line."""
    return int(leaf.split(b"\n", 3)[2])


def leaf_hash(leaf: bytes) -> bytes:
    """The hash of a leaf, 32 bytes."""
    return sha256(b"\x00" + leaf).digest()


def leaf_hashes(leaves: Iterable[bytes]) -> list[bytes]:
    """The hashes of many leaves, for whoever hashes a million."""
    return [sha256(b"\x00" + leaf).digest() for leaf in leaves]
