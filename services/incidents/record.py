"""What the record knows of an incident. Times are of happening; what was told of it may have come in any order."""

from datetime import datetime

from msgspec import Struct

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class Told(Struct, frozen=True):
    """One thing that was told of a casualty. `whom`: `player:…`, `worker:…`, or empty for somebody else."""

    place: Place
    whom: str
    what: str
    part: str = ""
    """Of an injury: the side and part of the body."""
    by: str | None = None
    """Of a treatment: who of staff gave it."""


class Handling(Struct, frozen=True):
    """One step of a piece of evidence: taken in by `taker`, or passed on to him by `giver`."""

    place: Place
    piece: str
    giver: str | None
    taker: str
    kept: str


class Incident(Struct, frozen=True):
    """`kind` is empty while nobody has recorded the incident itself."""

    incident: str
    kind: str = ""
    since: Place | None = None
    field: str | None = None
    game: str | None = None
    players: tuple[str, ...] = ()
    pieces: tuple[str, ...] = ()
    """Gear that is impounded as evidence."""
    bottles: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()
    emergency: bool = False
    scene: tuple[Place, ...] = ()
    place: str | None = None
    sky: str | None = None
    paint_batch: str | None = None
    injuries: tuple[Told, ...] = ()
    treatments: tuple[Told, ...] = ()
    outcomes: tuple[Told, ...] = ()
    called: dict[str, datetime] = {}
    arrived: dict[str, datetime] = {}
    witnesses: tuple[str, ...] = ()
    handlings: tuple[Handling, ...] = ()
    notified: dict[str, datetime] = {}
    told: bool = False
    closed: bool = False
    unreadable: bool = False
    """Something was told of it that this software cannot read."""

    @property
    def happened(self) -> datetime | None:
        """When it happened; while nobody has recorded that, when the first of what was told of it did."""
        if self.since is not None:
            return self.since[0]
        every = (*self.injuries, *self.treatments, *self.outcomes)
        moments = [*(one.place[0] for one in every), *self.called.values(), *self.arrived.values()]
        return min(moments, default=None)

    @property
    def casualties(self) -> tuple[str, ...]:
        """Everybody of whom an injury, a treatment or an outcome was told, each once."""
        return tuple(dict.fromkeys(one.whom for one in (*self.injuries, *self.treatments, *self.outcomes)))


class Open(Struct, frozen=True):
    """The incidents that no manager has closed since something was last told of them."""

    names: tuple[str, ...] = ()


class Release(Struct, frozen=True):
    """When a piece of gear was last released, if it ever was."""

    piece: str
    released: Place | None = None
