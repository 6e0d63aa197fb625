"""A reader of the board's stream, as a screen would be one."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import httpx
import msgspec
from msgspec import Struct

from tests.unit.merged import merged


class Event(Struct, frozen=True):
    """One server-sent event; of a comment only the text."""

    name: str = ""
    id: str | None = None
    data: Any = None
    comment: str = ""


class Events:
    """The events of one connection, in order, and the status that they add up to."""

    def __init__(self, answer: httpx.Response) -> None:
        self.answer = answer
        self.status: Any = None
        self.last: str | None = None
        self._lines = answer.iter_lines()

    def __iter__(self) -> Iterator[Event]:
        return self

    def __next__(self) -> Event:
        """The next event; `retry` lines are passed over."""
        fields: dict[str, str] = {}
        for line in self._lines:
            if line:
                name, _, value = line.partition(":")
                fields[name] = value.strip()
            elif fields.keys() - {"retry"}:
                return self._take(fields)
            else:
                fields = {}
        raise StopIteration

    def _take(self, fields: dict[str, str]) -> Event:
        data = msgspec.json.decode(fields["data"]) if "data" in fields else None
        event = Event(fields.get("event", ""), fields.get("id"), data, fields.get("", ""))
        if event.name in {"snapshot", "patch"}:
            self.status = data if event.name == "snapshot" else merged(self.status, data)
            self.last = event.id
        return event

    def until(self, true: Any) -> Event:
        """Read on until the status is so; returns the event that made it so."""
        for event in self:
            if self.status is not None and true(self.status):
                return event
        raise AssertionError("the stream ended")

    def named(self, name: str) -> Event:
        return next(event for event in self if event.name == name)


@contextmanager
def following(url: str, park: str, last: str | None = None) -> Iterator[Events]:
    """A connection to a park's stream, which resumes behind an id."""
    headers = {"Last-Event-ID": last} if last else {}
    with (
        httpx.Client(base_url=url, timeout=20) as client,
        client.stream("GET", f"/parks/{park}/board/stream", headers=headers) as answer,
    ):
        yield Events(answer)
