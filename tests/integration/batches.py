"""Batches as a device sends them, and what the log holds of them."""

import json
from collections.abc import Iterable, Sequence
from typing import Any
from uuid import UUID

import httpx

from contracts.leaf import decode
from tests.integration.live import Live


def key(number: int) -> str:
    """A UUIDv7 of its own for each number."""
    return str(UUID(f"017f22e2-79b0-7cc3-98c4-{number:012x}"))


def line(number: int, command: str, body: Any, *, seq: int | None = None, **more: Any) -> bytes:
    """One fact, numbered and named by its number, with its line feed."""
    told = {"key": key(number), "seq": number if seq is None else seq, "command": command, "body": body, **more}
    return json.dumps(told).encode() + b"\n"


def holds(numbers: Iterable[int]) -> list[bytes]:
    """Facts that rest on nothing: holds that were asked for."""
    return [line(one, "games/ask-hold", {"hold": f"hold-{one}", "field": None, "cause": "weather"}) for one in numbers]


def send(live: Live, device_key: str, content: bytes | Iterable[bytes], **headers: str) -> httpx.Response:
    kind = {"Content-Type": "application/x-ndjson", "Authorization": f"Bearer {device_key}"}
    return live.http.post(f"/parks/{live.park}/batch", content=content, headers=kind | headers, timeout=120)


def verdicts(answer: httpx.Response) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """A verdict a line, and the end."""
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].startswith("application/x-ndjson")
    *told, end = map(json.loads, answer.text.splitlines())
    assert end["end"] is True
    assert end["lines"] == len(told)
    return told, end


def recorded(live: Live, after: int, device: str) -> list[Any]:
    """What the log holds of a device behind a position, in order."""
    rows = live.portal.call(live.running.parks[live.park].log.between, after + 1, live.head())
    return [event for event in (decode(row.leaf) for row in rows) if event.device == device]


def problems(told: Sequence[dict[str, Any]]) -> list[str]:
    """The problem types of verdicts, a dash for what was recorded."""
    return [one["problem"]["type"].rpartition("/")[2] if "problem" in one else "-" for one in told]
