"""One leaf of each event type and version, as it was first written: tests/unit/golden holds them for ever.

`python -m tests.unit.golden_leaves` adds the missing ones, with what they decode to; one that is there is never touched.
"""

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import msgspec

from contracts import leaf
from contracts.catalogue import EVENTS, OLD, TYPES, tags_of
from contracts.envelope import Data, Event
from tests.unit.instances import plain

FOLDER = Path(__file__).with_name("golden")
AT = datetime(2026, 5, 9, 9, 30, 15, 250000, UTC)
KEY = UUID("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
KNOWN: dict[str, type[Data]] = {
    **{f"{name}.v{data.VERSION}": data for name, data in EVENTS.items()},
    **{f"{name}.v{version}": data for (name, version), (data, _) in OLD.items()},
}


def framed(data: Data, name: str = "", version: int = 0, tags: tuple[str, ...] | None = None) -> bytes:
    """The leaf of some data, at position 42 of an invented park."""
    event = Event(
        type=name or TYPES[type(data)],
        version=version or data.VERSION,
        id=KEY,
        day=AT.date(),
        occurred_at=AT,
        claimed_at=AT,
        clock="corrected",
        device="kiosk-3",
        device_seq=118,
        actor="staff-wren",
        tags=tags_of(data) if tags is None else tags,
        data=msgspec.Raw(msgspec.json.encode(data)),
    )
    return leaf.frame("larchmoor", 1, 42, AT, leaf.encode(event))


def _written(name: str) -> bytes:
    event, _, version = name.rpartition(".v")
    data: Any = plain(KNOWN[name])
    old = OLD.get((event, int(version)))
    return framed(data, event, int(version), tags_of(old[1](data)) if old else None)


def _add(name: str) -> None:
    written = _written(name)
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / f"{name}.leaf").write_bytes(written)
    decoded = msgspec.json.format(msgspec.json.encode(leaf.decode(written)), indent=1)
    (FOLDER / f"{name}.json").write_bytes(decoded + b"\n")


if __name__ == "__main__":
    missing = [name for name in KNOWN if not (FOLDER / f"{name}.leaf").exists()]
    for name in missing:
        _add(name)
    sys.stdout.write(f"{len(missing)} added\n")
