"""What a command is decided with, and the handler that joins a command to the subjects it rests on and the rule that decides it."""

from collections.abc import Callable, Iterable
from datetime import date, datetime
from typing import Generic, TypeVar

from msgspec import Struct

from contracts.envelope import Basis, Command, Data
from contracts.problems import AlreadyRecorded, UnknownSubject
from contracts.rules import Rules
from contracts.words import Role
from services.core.fold import Given, Subject

C = TypeVar("C", bound=Command)


class Moment(Struct, frozen=True, kw_only=True):
    """When, under which rules and by whom something is asked; the decision itself has no clock."""

    now: datetime
    """The server's time, UTC."""
    occurred_at: datetime
    """When it happened, as far as the device's clock can be believed; never after `now`."""
    day: date
    rules: Rules
    position: int
    """The log had been read up to here."""
    device: str = ""
    roles: frozenset[Role] = frozenset()

    @property
    def basis(self) -> Basis:
        return Basis(now=self.now, rules=self.rules.version, position=self.position)


class Handler(Struct, Generic[C], frozen=True):
    """One command, the subjects it rests on, and the rule that decides it.

    `reads` is asked again with what was read until it names no more; `decide` returns the events, or raises a `Refused`.
    """

    command: type[C]
    reads: Callable[[C, Given], Iterable[Subject]]
    decide: Callable[[C, Given, Moment], Iterable[Data]]


def must_know(known: object, tag: str) -> None:
    """Raises UnknownSubject unless the record knows the subject."""
    if not known:
        raise UnknownSubject(
            f"The record knows no {tag.replace(':', ' ', 1)}. Check the spelling, or register it first.", where=tag
        )


def must_be_new(known: object, tag: str) -> None:
    """Raises AlreadyRecorded when the subject is already there."""
    if known:
        raise AlreadyRecorded(f"{tag.replace(':', ' ', 1)} is already recorded. Choose another name.", where=tag)
