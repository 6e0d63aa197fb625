"""A log as a database holds it, with its index, requests, stored tree and signed checkpoints: made naively, to be tampered with."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from uuid import UUID

import msgspec
from msgspec.structs import replace as changed

from contracts import leaf
from contracts.catalogue import TYPES, carries_of, tags_of
from contracts.envelope import Data, Event
from contracts.park import DayOpened
from contracts.registration import ConsentGiven, PersonRegistered
from services.evidence.check import Astray, Batch, Check, HeadRow
from services.evidence.columns import EventRow, TagRow
from services.evidence.finding import Finding
from services.evidence.requests import RequestRow
from services.evidence.roots import Signed

PARK = "larchmoor"
OPENS = datetime(2026, 5, 2, 8, 0, tzinfo=UTC)
TILE = 256


@dataclass
class SignedLog:
    """The rows of every table, by position where they have one."""

    events: list[EventRow]
    tags: list[TagRow]
    requests: list[RequestRow]
    tiles: dict[tuple[int, int], bytes]
    signed: list[Signed]
    head: HeadRow
    astray: list[Astray] = field(default_factory=list)

    def copy(self) -> "SignedLog":
        return replace(
            self,
            events=list(self.events),
            tags=list(self.tags),
            requests=list(self.requests),
            tiles=dict(self.tiles),
            signed=list(self.signed),
        )

    def plant_tree(self, size: int | None = None) -> None:
        """Make the stored tree anew from the leaves as they stand, as one would who covers his tracks."""
        self.tiles = tiles([leaf.leaf_hash(row.leaf) for row in self.events[:size]])


def data_of(number: int) -> Data:
    """One day a hundred events; every fifth event concerns three people."""
    if number % 100 == 0:
        return DayOpened(opened=OPENS.date() + timedelta(days=number // 100))
    if number % 5 == 0:
        wording, ward, host = "w1", f"ada-{number}", f"cyd-{number}"
        return ConsentGiven(
            person=ward,
            guardian=f"ben-{number}",
            relationship="parent",
            wording=wording,
            on_site=True,
            responsible=host,
        )
    return PersonRegistered(person=f"person-{number}", age_band=18)


def row_of(position: int, data: Data, *, device: str, epoch: int = 1) -> EventRow:
    at = OPENS + timedelta(seconds=position)
    event = Event(
        type=TYPES[type(data)],
        version=1,
        id=UUID(int=position),
        day=at.date(),
        occurred_at=at,
        claimed_at=None,
        clock="server",
        device=device,
        device_seq=None,
        actor=None,
        tags=tags_of(data),
        data=msgspec.Raw(msgspec.json.encode(data)),
    )
    framed = leaf.frame(PARK, epoch, position, at, leaf.encode(event))
    return EventRow(PARK, position, epoch, event.id, event.type, event.day, at, at, event.device, event.tags, framed)


def tag_rows(row: EventRow, data: Data) -> list[TagRow]:
    return [TagRow(row.position, tag, row.type, tag in carries_of(data)) for tag in row.tags]


def signed_log(size: int, checkpoints: Sequence[int]) -> SignedLog:
    """A log of so many events, requests of one, two or three of them, and checkpoints over so many."""
    events, tags, requests = [], [], []
    while len(events) < size:
        first, together = len(events) + 1, min(1 + len(requests) % 3, size - len(events))
        device = f"kiosk-{len(requests) % 4}"
        requests.append(RequestRow(UUID(int=first), device, first, first + together - 1))
        for position in range(first, first + together):
            data = data_of(position)
            events.append(row_of(position, data, device=device))
            tags += tag_rows(events[-1], data)
    hashes = [leaf.leaf_hash(row.leaf) for row in events]
    signed = [Signed(1, one, root(hashes[:one]), OPENS + timedelta(hours=1, seconds=one)) for one in checkpoints]
    head = HeadRow(1, size, events[-1].recorded_at if events else OPENS)
    return SignedLog(events, tags, requests, tiles(hashes[: max(checkpoints, default=0)]), signed, head)


def root(hashes: Sequence[bytes]) -> bytes:
    """RFC 9162 §2.1.1, as its definition reads."""
    if len(hashes) < 2:
        return hashes[0] if hashes else sha256(b"").digest()
    split = 1
    while split * 2 < len(hashes):
        split *= 2
    return sha256(b"\x01" + root(hashes[:split]) + root(hashes[split:])).digest()


def tiles(hashes: Sequence[bytes]) -> dict[tuple[int, int], bytes]:
    """Level by level, each hash one over 256 of the level below."""
    found, level = {}, 0
    while hashes:
        for index in range(0, len(hashes), TILE):
            found[level, index // TILE] = b"".join(hashes[index : index + TILE])
        whole = len(hashes) // TILE
        hashes = [root(hashes[index * TILE : (index + 1) * TILE]) for index in range(whole)]
        level += 1
    return found


def checked(log: SignedLog, batch: int = TILE) -> tuple[Check, list[Finding]]:
    """What the check finds, read in batches as from a database."""
    check, found = Check(PARK, log.signed), []
    for first in range(1, log.head.position + 1, batch):
        last = min(first + batch - 1, log.head.position)
        found += check.take(
            Batch(
                first,
                last,
                [row for row in log.events if first <= row.position <= last],
                [row for row in log.tags if first <= row.position <= last],
                [row for row in log.requests if first <= row.first <= last],
                {(level, index): held for (level, index), held in log.tiles.items() if over(level, index, first, last)},
            )
        )
    return check, [*found, *check.end(log.head, log.astray)]


def over(level: int, index: int, first: int, last: int) -> bool:
    width = TILE ** (level + 1)
    return (first - 1) // width <= index <= (last - 1) // width


def moved(row: EventRow, position: int) -> EventRow:
    """The same bytes at another position, as the column says it."""
    return changed(row, position=position)
