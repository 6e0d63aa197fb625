"""What the record knows of an incident. Times are of happening; what was told of it may have come in any order.

Every entry stands by itself, and what the record says is asked of those that stand: so one that is withdrawn is gone from every answer, and remembered as withdrawn.
"""

from collections.abc import Iterable
from datetime import datetime

from msgspec import Struct

from contracts.first_aid import Entry as Kind
from services.incidents.entries import Account, Entry, Handling, Look, Place, Told, Withdrawn


class Incident(Struct, frozen=True):
    """Its entries are those that stand, in the order in which they were told."""

    incident: str
    accounts: tuple[Account, ...] = ()
    told: tuple[Told, ...] = ()
    looks: tuple[Look, ...] = ()
    handlings: tuple[Handling, ...] = ()
    withdrawn: tuple[Withdrawn, ...] = ()
    unheld: dict[str, int] = {}
    """By person, up to which position a manager lifted the incident's legal hold of what the vault keeps of him."""
    known: bool = False
    closed: bool = False
    unreadable: bool = False
    """Something was told of it that this software cannot read."""

    @property
    def entries(self) -> tuple[Entry, ...]:
        """Every entry that stands, in the order of happening."""
        every: tuple[Entry, ...] = (*self.accounts, *self.told, *self.looks, *self.handlings)
        return tuple(sorted(every, key=lambda one: one.place))

    @property
    def kind(self) -> str:
        """What was told last says what it was; empty while nobody has recorded the incident itself."""
        return self.accounts[-1].of if self.accounts else ""

    @property
    def since(self) -> Place | None:
        return self.accounts[-1].place if self.accounts else None

    @property
    def field(self) -> str | None:
        return _last(one.field for one in self.accounts)

    @property
    def game(self) -> str | None:
        return _last(one.game for one in self.accounts)

    @property
    def players(self) -> tuple[str, ...]:
        return _each(one.players for one in self.accounts)

    @property
    def pieces(self) -> tuple[str, ...]:
        """Gear that is impounded as evidence."""
        return _each((*(one.pieces for one in self.accounts), *((one.piece,) for one in self.handlings)))

    @property
    def emergency(self) -> bool:
        return any(one.emergency for one in self.accounts)

    @property
    def injuries(self) -> tuple[Told, ...]:
        return self._of("injury")

    @property
    def treatments(self) -> tuple[Told, ...]:
        return self._of("treatment")

    @property
    def outcomes(self) -> tuple[Told, ...]:
        return self._of("outcome")

    @property
    def witnesses(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(one.whom for one in self.told if one.kind == "witness"))

    @property
    def called(self) -> dict[str, datetime]:
        return self._earliest("help_called")

    @property
    def arrived(self) -> dict[str, datetime]:
        return self._earliest("help_arrived")

    @property
    def notified(self) -> dict[str, datetime]:
        return self._earliest("notification")

    @property
    def place(self) -> str | None:
        return _last(one.spot for one in self._seen)

    @property
    def sky(self) -> str | None:
        return _last(one.sky for one in self._seen)

    @property
    def paint_batch(self) -> str | None:
        return _last(one.paint_batch for one in self._seen)

    @property
    def bottles(self) -> tuple[str, ...]:
        return _each(one.bottles for one in self.looks)

    @property
    def tests(self) -> tuple[str, ...]:
        return _each(one.tests for one in self.looks)

    @property
    def happened(self) -> datetime | None:
        """When it happened; while nobody has recorded that, when the first of what was told of it did."""
        if self.since is not None:
            return self.since[0]
        return min((one.place[0] for one in self.told if one.kind not in {"witness", "notification"}), default=None)

    @property
    def casualties(self) -> tuple[str, ...]:
        """Everybody of whom an injury, a treatment or an outcome was told, each once."""
        return tuple(dict.fromkeys(one.whom for one in (*self.injuries, *self.treatments, *self.outcomes)))

    @property
    def _seen(self) -> list[Look]:
        """The latest look at the scene counts, and what it leaves out stays: what happened to be told last is no truer."""
        return sorted(self.looks, key=lambda one: one.place)

    def _of(self, kind: Kind) -> tuple[Told, ...]:
        return tuple(sorted((one for one in self.told if one.kind == kind), key=lambda one: one.place))

    def _earliest(self, kind: Kind) -> dict[str, datetime]:
        return {one.what: one.place[0] for one in reversed(self._of(kind))}


class Open(Struct, frozen=True):
    """The incidents that no manager has closed since something was last told of them."""

    names: tuple[str, ...] = ()


class Release(Struct, frozen=True):
    """When a piece of gear was last released, if it ever was."""

    piece: str
    released: Place | None = None


def _last(values: Iterable[str | None]) -> str | None:
    return next(reversed([value for value in values if value is not None]), None)


def _each(several: Iterable[Iterable[str]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one for some in several for one in some))
