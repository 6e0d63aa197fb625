"""The entries of an incident's record: each one thing that was told, as it was told."""

from datetime import datetime

from msgspec import Struct

from contracts.first_aid import Entry as Kind
from contracts.first_aid import Slip

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Entry(Struct, frozen=True, kw_only=True):
    """One thing that was told. `entry`: the id of its event; `named`: the tags of all that it names."""

    entry: str
    place: Place
    kind: Kind
    named: tuple[str, ...]

    @property
    def says(self) -> str:
        """What it tells, in a few words; a witness is not named in them."""
        return ""

    @property
    def holds(self) -> bool:
        """Whether the vault keeps the data of those it names for it."""
        return False

    @property
    def impounds(self) -> tuple[str, ...]:
        """The gear that is out of use by it."""
        return ()


class Account(Entry, frozen=True, kw_only=True):
    """That an incident happened, where, and with whom. `pieces`: gear that it names."""

    of: str
    field: str | None
    game: str | None
    players: tuple[str, ...]
    pieces: tuple[str, ...]
    emergency: bool

    @property
    def says(self) -> str:
        players = (f"player {one}" for one in self.players)
        return _line(self.of, self.field and f"field {self.field}", *players, *self.pieces)

    @property
    def holds(self) -> bool:
        return self.of == "injury"

    @property
    def impounds(self) -> tuple[str, ...]:
        return self.pieces


class Told(Entry, frozen=True, kw_only=True):
    """An injury, a treatment or an outcome; help that was called or came; a witness; a report. `whom`: `player:…`, `worker:…`, `person:…`, or empty for somebody else."""

    whom: str = ""
    what: str = ""
    part: str = ""
    """Of an injury: the side and part of the body."""
    by: str | None = None
    """Of a treatment: who of staff gave it."""

    @property
    def says(self) -> str:
        return "" if self.kind == "witness" else _line(self.whom, self.part, self.what, self.by and f"by {self.by}")

    @property
    def holds(self) -> bool:
        return self.kind in {"injury", "witness"}


class Look(Entry, frozen=True, kw_only=True):
    """A look at the scene."""

    spot: str | None
    sky: str | None
    paint_batch: str | None
    bottles: tuple[str, ...]
    tests: tuple[str, ...]

    @property
    def says(self) -> str:
        return _line(self.spot, self.sky, self.paint_batch, *self.bottles, *self.tests)


class Handling(Entry, frozen=True, kw_only=True):
    """One step of a piece of evidence: taken in by `taker`, or passed on to him by `giver`."""

    piece: str
    giver: str | None
    taker: str
    kept: str

    @property
    def says(self) -> str:
        return _line(self.piece, f"{self.giver or 'taken in'} to {self.taker}", self.kept)

    @property
    def impounds(self) -> tuple[str, ...]:
        return (self.piece,) if self.giver is None else ()


class Withdrawn(Struct, frozen=True, kw_only=True):
    """An entry that was never so, with what it had said. `position`: its own, `at`: when it was withdrawn."""

    entry: str
    position: int
    kind: Kind
    named: tuple[str, ...]
    says: str
    slip: Slip
    at: datetime
    holds: bool
    impounds: tuple[str, ...]


def _line(*words: str | None) -> str:
    return ", ".join(word.replace(":", " ", 1) for word in words if word)
