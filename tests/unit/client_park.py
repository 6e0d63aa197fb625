"""A park in memory that answers batches as the wire says, over a network that is cut wherever a test likes. It shares no code with the services."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime

import httpx

PARK, DEVICE = "larchmoor", "gate-1"
KEY = f"{DEVICE}.secret"
MOMENT = datetime(2026, 5, 9, 12, tzinfo=UTC)


class Killed(BaseException):
    """The device's process ends at this point."""


@dataclass
class Cut:
    """How one request fares: so many bytes of it arrive, so many of the answer come back; then the connection, or the process, is gone."""

    arrive: int
    come_back: int
    by: type[BaseException] = httpx.ReadError


@dataclass
class InMemoryPark:
    epoch: int = 1
    signed: int = 0
    log: list[tuple[str, int]] = field(default_factory=list)
    """Each fact's key and number, in the order of recording."""
    aside: dict[str, int] = field(default_factory=dict)
    cuts: list[Cut] = field(default_factory=list)
    busy: int = 0
    """So many lines to come are answered that others came between."""
    requests: int = 0

    def restore(self, position: int) -> None:
        """Back to a backup: the log ends at a position, lines set aside are lost."""
        del self.log[position:]
        self.aside.clear()
        self.epoch += 1

    def handle(self, request: httpx.Request) -> httpx.Response:
        assert request.url.path == f"/parks/{PARK}/batch"
        assert request.headers["content-type"] == "application/x-ndjson"
        assert request.headers["authorization"] == f"Bearer {KEY}"
        datetime.fromisoformat(request.headers["device-time"])
        self.requests += 1
        content = request.read()
        cut = self.cuts.pop(0) if self.cuts else None
        answer = b"".join(self._verdicts(content if cut is None else content[: cut.arrive]))
        return httpx.Response(200, stream=_Stream(answer, cut))

    async def handle_async(self, request: httpx.Request) -> httpx.Response:
        await request.aread()
        return self.handle(request)

    def _verdicts(self, content: bytes) -> Iterator[bytes]:
        *lines, _ = content.split(b"\n")
        resume = None
        for number, line in enumerate(map(json.loads, lines), 1):
            verdict = {"line": number, "key": line["key"], "seq": line["seq"]} | self._verdict(line)
            yield json.dumps(verdict).encode() + b"\n"
            if verdict["status"] >= 409 and verdict["status"] != 422:
                resume = number
                break
        end = {"end": True, "lines": len(lines), "epoch": self.epoch, "signed": self.signed, "resume": resume}
        yield json.dumps(end).encode() + b"\n"

    def _verdict(self, line: dict) -> dict:
        positions = {key: position for position, (key, _) in enumerate(self.log, 1)}
        if self.busy:
            self.busy -= 1
            return {"status": 409, "problem": _problem(409, "/problems/contended")}
        if "refuse" in line["body"]["player"]:
            self.aside[line["key"]] = line["seq"]
            return {"status": 422, "problem": _problem(422, "/problems/invalid-body")}
        repeat = line["key"] in positions
        if not repeat:
            self.log.append((line["key"], line["seq"]))
        receipt = {
            "park": PARK,
            "epoch": 1,  # of a repeat it is that of the first recording
            "position": positions.get(line["key"], len(self.log)),
            "recorded_at": MOMENT.isoformat(),
            "repeat": repeat,
            "events": [],
        }
        return {"status": 201, "receipt": receipt}


def _problem(status: int, kind: str) -> dict:
    return {"type": kind, "title": "Refused", "status": status, "detail": "Told by the test's park."}


class _Stream(httpx.SyncByteStream, httpx.AsyncByteStream):
    """The answer in pieces that respect no line, up to the cut."""

    def __init__(self, answer: bytes, cut: Cut | None) -> None:
        self._answer, self._cut = answer, cut

    def __iter__(self) -> Iterator[bytes]:
        whole = self._answer if self._cut is None else self._answer[: self._cut.come_back]
        for start in range(0, len(whole), 150):
            yield whole[start : start + 150]
        if self._cut is not None:
            raise self._cut.by("cut by the test")

    async def __aiter__(self):
        for piece in self:
            yield piece
