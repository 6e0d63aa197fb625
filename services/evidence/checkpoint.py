"""Checkpoints (C2SP tlog-checkpoint): how many leaves a log had, and the root over them, as the text of a signed note.

The text is three lines, each ended by a line feed: the origin, the size, the root in base64. Ours have one more: when it was signed.
"""

import re
from base64 import b64decode, b64encode
from datetime import UTC, datetime
from typing import Self

import msgspec
from msgspec import Struct

from services.evidence.tree import SIZE

_ORIGIN = re.compile(r"fieldledger/(?P<park>[^/\s+]+)/(?P<epoch>[1-9][0-9]{0,8})")
_DECIMAL = re.compile(r"0|[1-9][0-9]{0,17}")


class CheckpointError(ValueError):
    """The text is no checkpoint."""


class Checkpoint(Struct, frozen=True):
    """The head of a tree: its first `size` leaves have this root. `extensions` are lines below that no monitor can judge."""

    origin: str
    size: int
    root: bytes
    extensions: tuple[str, ...] = ()

    @classmethod
    def at(cls, origin: str, size: int, root: bytes, signed_at: datetime) -> Self:
        """A checkpoint of ours, which says when it was signed."""
        return cls(origin, size, root, (_moment(signed_at),))

    @classmethod
    def parse(cls, text: str) -> Self:
        """The checkpoint in the text of a note; raises CheckpointError with what is wrong."""
        lines = text.split("\n")
        if lines.pop() or len(lines) < 3:
            raise CheckpointError(
                "A checkpoint has at least three lines, each ended by a line feed: origin, size, root."
            )
        origin, size, root, *extensions = lines
        if not all(lines):
            raise CheckpointError("A checkpoint has no empty line.")
        if not _DECIMAL.fullmatch(size):
            raise CheckpointError(
                f"The size of a checkpoint is a decimal number without leading zeros, not {size[:40]!r}."
            )
        return cls(origin, int(size), _root(root), tuple(extensions))

    @property
    def text(self) -> str:
        """The text to be signed."""
        lines = (self.origin, str(self.size), b64encode(self.root).decode(), *self.extensions)
        return "".join(f"{line}\n" for line in lines)

    @property
    def signed_at(self) -> datetime:
        """When it says it was signed, UTC; raises CheckpointError where it says nothing of that."""
        try:
            moment = msgspec.convert(self.extensions[0], datetime)
        except (IndexError, msgspec.ValidationError):
            raise CheckpointError("The checkpoint does not say in its fourth line when it was signed.") from None
        if moment.tzinfo is None or _moment(moment) != self.extensions[0]:
            raise CheckpointError(f"The checkpoint's time is not RFC 3339 in UTC: {self.extensions[0][:40]!r}.")
        return moment

    @property
    def epoch(self) -> int:
        """Which life of its log it is of; raises CheckpointError when the origin is none of ours."""
        return int(self._ours["epoch"])

    @property
    def park(self) -> str:
        """Whose log it is of; raises CheckpointError when the origin is none of ours."""
        return self._ours["park"]

    @property
    def _ours(self) -> re.Match[str]:
        found = _ORIGIN.fullmatch(self.origin)
        if found is None:
            raise CheckpointError(f"The origin {self.origin[:80]!r} is not fieldledger/<park>/<epoch>.")
        return found


def origin_of(park: str, epoch: int) -> str:
    """What a life of a park's log calls itself, which is also the name of the keys that sign for it."""
    return f"fieldledger/{park}/{epoch}"


def _moment(moment: datetime) -> str:
    return str(msgspec.to_builtins(moment.astimezone(UTC)))


def _root(text: str) -> bytes:
    try:
        root = b64decode(text, validate=True)
    except ValueError:
        root = b""
    if len(root) != SIZE or b64encode(root).decode() != text:
        raise CheckpointError(f"The root of a checkpoint is {SIZE} bytes in base64, not {text[:80]!r}.")
    return root
