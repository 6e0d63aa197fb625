"""A device's facts on its disk: in order, each under its own key, until they lie under a checkpoint outside the park's database."""

import sqlite3
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from os import PathLike
from pathlib import Path
from random import SystemRandom
from typing import Final
from uuid import UUID

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from contracts.answers import Problem
from contracts.client.batch import LONGEST_BODY, MOST_BYTES, MOST_LINES, Batch, Fact, Verdict
from contracts.client.clock import Bits, Clock, SystemClock, uuid7
from contracts.client.wire import PATHS
from contracts.envelope import Command

_TABLES: Final = """
CREATE TABLE IF NOT EXISTS fact (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,  -- never used again, also when the newest row is gone
    key BLOB NOT NULL UNIQUE,
    command TEXT NOT NULL,
    actor TEXT,
    body BLOB NOT NULL,
    state TEXT NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'recorded', 'refused')),
    epoch INTEGER,
    position INTEGER,
    problem BLOB
) STRICT;
CREATE INDEX IF NOT EXISTS fact_state ON fact (state, seq);
CREATE TABLE IF NOT EXISTS bound (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
"""


class RefusedFact(Struct, frozen=True):
    """A fact that the park did not record. It is set aside there for a person to judge, and kept here until a person has seen it."""

    seq: int
    key: UUID
    command: str
    body: bytes
    problem: Problem


class Queue:
    """Survives kill -9 and a dead battery from the moment `put` returns. Threads may share it; a file belongs to one device of one park.

    `most_lines` go into one batch: fewer where the network seldom holds for long. What was recorded is kept until a checkpoint outside covers it, and is sent again if a restore of the park has lost it.
    """

    def __init__(
        self,
        path: str | PathLike[str],
        *,
        clock: Clock | None = None,
        random: Bits | None = None,
        most_lines: int = MOST_LINES,
    ) -> None:
        Path(path).touch(mode=0o600)
        self._clock = clock or SystemClock()
        self._random = random or SystemRandom()
        self._most_lines = most_lines
        self._lock = threading.RLock()
        self._disk = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=30)
        self._disk.execute("PRAGMA journal_mode = WAL")
        self._disk.execute("PRAGMA synchronous = FULL")
        self._disk.executescript(_TABLES)
        self._epoch = 0
        """The life of the park's log that was heard of since the connection was last lost; 0 where that is not known."""

    def close(self) -> None:
        with self._lock:
            self._disk.close()

    def put(self, command: Command, actor: str | None = None) -> UUID:
        """Keep a fact, with the moment at which it happened: now by the device's clock where it names none. Returns its key, which is its event's id."""
        return self.put_all([command], actor)[0]

    def put_all(self, commands: Iterable[Command], actor: str | None = None) -> list[UUID]:
        """Keep several facts, all or none."""
        rows = [(uuid7(self._clock, self._random), *self._written(command)) for command in commands]
        with self._writing() as disk:
            disk.executemany(
                "INSERT INTO fact (key, command, actor, body) VALUES (?, ?, ?, ?)",
                [(key.bytes, path, actor, body) for key, path, body in rows],
            )
        return [key for key, _, _ in rows]

    def _written(self, command: Command) -> tuple[str, bytes]:
        name = type(command).__name__
        if not command.FACT:
            raise ValueError(
                f"{name} is asked for and needs an answer while one waits: send it with `do`. The queue keeps facts."
            )
        if command.occurred_at is None:
            command = replace(command, occurred_at=self._clock.now())
        body = msgspec.json.encode(command)
        if len(body) > LONGEST_BODY:
            raise ValueError(f"{name} takes {len(body)} bytes; one fact may take {LONGEST_BODY}.")
        return PATHS[type(command)], body

    @property
    def waiting(self) -> int:
        """Facts that the park has not answered for."""
        return self._count("state = 'waiting'")

    @property
    def kept(self) -> int:
        """Facts on this disk, whatever became of them."""
        return self._count("true")

    def refused(self) -> tuple[RefusedFact, ...]:
        """What a person must look at: the park did not record it, and says why."""
        with self._lock:
            rows = self._disk.execute(
                "SELECT seq, key, command, body, problem FROM fact WHERE state = 'refused' ORDER BY seq"
            ).fetchall()
        return tuple(
            RefusedFact(seq, UUID(bytes=key), command, body, msgspec.json.decode(problem, type=Problem))
            for seq, key, command, body, problem in rows
        )

    def seen(self, seq: int) -> None:
        """A person has looked at a refused fact: this disk forgets it. The park keeps what it set aside."""
        with self._writing() as disk:
            disk.execute("DELETE FROM fact WHERE seq = ? AND state = 'refused'", (seq,))

    def bind(self, park: str, device: str) -> None:
        """Belong to this device from now on. Raises ValueError where it is another's: its numbers would be taken for that one's."""
        wanted = f"{device} of {park}"
        with self._writing() as disk:
            disk.execute("INSERT OR IGNORE INTO bound VALUES ('device', ?)", (wanted,))
            (found,) = disk.execute("SELECT value FROM bound WHERE name = 'device'").fetchone()
        if found != wanted:
            raise ValueError(f"This queue belongs to {found}, not to {wanted}. Open another file for it.")

    def batch(self) -> Batch:
        """What to send next, from the oldest on. Empty, a question for the park's epoch, where that is not known for sure: a restore is heard of before anything new is sent."""
        if not self._epoch:
            return Batch([])
        with self._lock:
            rows = self._disk.execute(
                "SELECT seq, key, command, actor, body FROM fact WHERE state = 'waiting' ORDER BY seq LIMIT ?",
                (self._most_lines,),
            ).fetchall()
        facts: list[Fact] = []
        size = 0
        for seq, key, command, actor, body in rows:
            size += len(body) + 300
            if facts and size > MOST_BYTES:
                break
            facts.append(Fact(seq, UUID(bytes=key), command, actor, body))
        return Batch(facts)

    def settle(self, verdicts: Iterable[Verdict]) -> None:
        """Keep what the park has decided, on disk."""
        rows = [_row(verdict, self._epoch) for verdict in verdicts]
        if rows:
            with self._writing() as disk:
                disk.executemany("UPDATE fact SET state = ?, epoch = ?, position = ?, problem = ? WHERE key = ?", rows)

    def unsure(self) -> None:
        """The connection was lost, or nothing was sent for a while: the park may have been restored."""
        self._epoch = 0

    def ended(self, epoch: int, signed: int) -> bool:
        """The park told its epoch, and how far that lies under a checkpoint outside: forget what that covers, send again what a restore may have lost. Returns whether nothing waits."""
        with self._writing() as disk:
            disk.execute(
                "UPDATE fact SET state = 'waiting', epoch = NULL, position = NULL, problem = NULL WHERE epoch <> ?",
                (epoch,),
            )
            disk.execute("DELETE FROM fact WHERE state = 'recorded' AND position <= ?", (signed,))
        self._epoch = epoch
        return self.waiting == 0

    def _count(self, condition: str) -> int:
        with self._lock:
            (number,) = self._disk.execute(f"SELECT count(*) FROM fact WHERE {condition}").fetchone()  # noqa: S608 - ours
        return int(number)

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction, on disk when the block ends."""
        with self._lock:
            self._disk.execute("BEGIN IMMEDIATE")
            try:
                yield self._disk
            except BaseException:
                self._disk.execute("ROLLBACK")
                raise
            self._disk.execute("COMMIT")


def _row(verdict: Verdict, epoch: int) -> tuple[str, int, int | None, bytes | None, bytes | None]:
    """A verdict as it is kept, with the life of the log in which it was given."""
    key = verdict.key.bytes if verdict.key else None
    if verdict.receipt is not None and verdict.problem is None:
        return "recorded", epoch, verdict.receipt.position, None, key
    return "refused", epoch, None, msgspec.json.encode(verdict.problem), key
