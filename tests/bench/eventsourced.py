"""The `eventsourcing` package on the same PostgreSQL: saving one event at a time, and reading events back."""

import asyncio
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from types import TracebackType
from typing import Any, Self
from urllib.parse import unquote, urlsplit

from eventsourcing.application import Application
from eventsourcing.domain import Aggregate, event

THREADS = (1, 16)
A_SAVE = 500


class Story(Aggregate):
    """A subject to which things happen; `data` is what our events hold, as plain JSON values."""

    @event("Happened")
    def happen(self, data: dict[str, Any]) -> None:
        pass


class Eventsourced:
    """An application of that package, on the database behind a URL."""

    def __init__(self, url: str) -> None:
        parts = urlsplit(url)
        self._app = Application[Any](
            env={
                "PERSISTENCE_MODULE": "eventsourcing.postgres",
                "POSTGRES_DBNAME": parts.path.strip("/"),
                "POSTGRES_HOST": parts.hostname or "",
                "POSTGRES_PORT": str(parts.port),
                "POSTGRES_USER": parts.username or "",
                "POSTGRES_PASSWORD": unquote(parts.password or ""),
                "POSTGRES_POOL_SIZE": str(max(THREADS)),
            }
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._app.close()

    async def saves_per_second(self, seconds: float) -> float:
        """One save an event, the best of 1 and 16 threads, each with a subject of its own."""
        return max([await asyncio.to_thread(self._saves, threads, seconds) for threads in THREADS])

    def _saves(self, threads: int, seconds: float) -> float:
        until = time.perf_counter() + seconds

        def caller(_: int) -> int:
            story, done = Story(), 0
            while time.perf_counter() < until:
                story.happen({"marker": "m-1", "readings_fps": [271.0, 274.0, 269.5], "sealed": True})
                self._app.save(story)
                done += 1
            return done

        begun = time.perf_counter()
        with ThreadPoolExecutor(threads) as pool:
            return sum(pool.map(caller, range(threads))) / (time.perf_counter() - begun)

    def fill(self, events: Sequence[dict[str, Any]]) -> None:
        """Record these events, many a save."""
        story = Story()
        for number, data in enumerate(events, 1):
            story.happen(data)
            if number % A_SAVE == 0:
                self._app.save(story)
        self._app.save(story)

    def read(self) -> int:
        """Read and decode every event, in order; how many they were."""
        start, done = 1, 0
        while notifications := self._app.recorder.select_notifications(start, 1000):
            for notification in notifications:
                self._app.mapper.to_domain_event(notification)
            start, done = notifications[-1].id + 1, done + len(notifications)
        return done
