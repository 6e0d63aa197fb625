"""The lines of a batch: cut out of the bytes as they come, and read, each with what is wrong with it. No log, no clock."""

from collections.abc import Mapping
from typing import Any, Final
from uuid import UUID

import msgspec
from msgspec import Struct

from contracts.batch import LONGEST_LINE, Line, Seq
from contracts.catalogue import COMMANDS
from contracts.envelope import UNREADABLE, Command
from contracts.problems import BodyTooLarge, InvalidBody, MalformedBody, NotFound, NotOffline
from services.core.command import Handler
from services.core.plainly import plainly


class _Named(Struct, frozen=True, kw_only=True):
    """What can be told of a line that does not fit: whose it is, as far as that can be read."""

    key: Any = None
    seq: Any = None


class Cut(Struct, frozen=True):
    """One line as it came, with its number from 1. `whole` is False where it is too long: then only its first bytes are here."""

    number: int
    bytes: bytes
    whole: bool = True


class Lines:
    """Cuts bytes into lines, however they are split on their way. Of a line that is too long no more is kept than tells that it is."""

    def __init__(self) -> None:
        self._rest = bytearray()
        self._number = 0
        self._too_long = b""

    def feed(self, chunk: bytes) -> list[Cut]:
        """The lines that end in these bytes. Empty lines count and are passed over."""
        found = []
        *ended, rest = chunk.split(b"\n")
        for piece in ended:
            self._add(piece)
            line, self._rest = bytes(self._rest), bytearray()
            first, self._too_long = self._too_long, b""
            self._number += 1
            if first:
                found.append(Cut(self._number, first, whole=False))
            elif line.strip():
                found.append(Cut(self._number, line))
        self._add(rest)
        return found

    def _add(self, piece: bytes) -> None:
        if not self._too_long:
            self._rest += piece
        if len(self._rest) > LONGEST_LINE:
            self._too_long, self._rest = bytes(self._rest[:200]), bytearray()

    @property
    def unended(self) -> Cut | None:
        """What came behind the last line feed."""
        rest = self._too_long or bytes(self._rest)
        return Cut(self._number + 1, rest, whole=False) if rest.strip() else None


def read(cut: Cut, facts: Mapping[str, Handler[Any]]) -> tuple[Line, Handler[Any], Command]:
    """The request in a line; raises why it is none, or none that a batch takes."""
    if not cut.whole:
        raise BodyTooLarge(f"A line may have {LONGEST_LINE} bytes. Nothing of it was recorded; send less in one line.")
    line = _decoded(_LINE, cut.bytes, "line")
    handler = facts.get(line.command)
    if handler is None and line.command in COMMANDS:
        raise NotOffline(
            f"{line.command} is asked for and decided now, or holds what no batch may, so no batch takes it. Ask for it at its own path, and wait for the answer."
        )
    if handler is None:
        raise NotFound(f"There is no command {line.command[:80]!a}. It is <service>/<command>, as in its path.")
    decoder = _BODIES.setdefault(handler.command, msgspec.json.Decoder(handler.command))
    return line, handler, _decoded(decoder, line.body, "body")


def named(cut: Cut) -> tuple[UUID | None, int | None]:
    """The key and the number that a line bears, as far as they can be read, whatever is wrong with the rest."""
    try:
        found = msgspec.json.decode(cut.bytes, type=_Named)
    except UNREADABLE:
        return None, None
    return _as(found.key, UUID), _as(found.seq, Seq)


def _as(value: Any, kind: Any) -> Any:
    try:
        return msgspec.convert(value, kind)
    except msgspec.ValidationError:
        return None


def _decoded(decoder: msgspec.json.Decoder[Any], given: bytes | msgspec.Raw, what: str) -> Any:
    try:
        return decoder.decode(given)
    except msgspec.ValidationError as error:
        said, where = plainly(error, decoder.type)
        raise InvalidBody(f"{said}. Nothing of this line was recorded.", where=where) from None
    except UNREADABLE as error:
        raise MalformedBody(f"The {what} is no JSON in UTF-8: {error}. Nothing of this line was recorded.") from None


_LINE: Final = msgspec.json.Decoder(Line)
_BODIES: Final[dict[type[Command], msgspec.json.Decoder[Any]]] = {}
