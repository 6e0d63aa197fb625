"""The checkpoints that bear witness to a log, kept in the database and outside of it, and the keys that signed them."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Protocol

from msgspec import Struct

from services.evidence.checkpoint import Checkpoint, CheckpointError
from services.evidence.finding import Finding
from services.evidence.note import NoteError, VerifierKey, read
from services.evidence.roots import Signed


class CheckpointRow(Struct, frozen=True):
    """A row of evidence.checkpoint."""

    epoch: int
    size: int
    root: bytes
    note: str
    signed_at: datetime


class Adopted(Protocol):
    """What the log says of a key: its text, and that of the key it takes the place of."""

    @property
    def key(self) -> str: ...
    @property
    def replaces(self) -> str | None: ...


class Witness:
    """Reads the notes of one park. `keys` are those that are known outside the database; no other is believed."""

    def __init__(self, park: str, keys: Iterable[VerifierKey]) -> None:
        self._park = park
        self._keys = tuple(keys)
        self._signed: dict[tuple[int, int, bytes], Signed] = {}
        self.signers: dict[VerifierKey, int] = {}
        """Each key that signed anything, and the size of the smallest checkpoint that it signed."""

    @property
    def signed(self) -> list[Signed]:
        """Every checkpoint whose signature holds, wherever it was kept, each once."""
        return list(self._signed.values())

    def read(self, rows: Sequence[CheckpointRow], outside: Sequence[str] | None) -> Iterator[Finding]:
        """Hear them all: those in the database, and those outside, None where that place cannot be read."""
        inside: dict[tuple[int, int], Signed] = {}
        for row in rows:
            try:
                signed = self._open(row.note)
            except (NoteError, CheckpointError) as error:
                yield _checkpoint(row.size, f"the checkpoint in the database cannot be believed: {error}")
                continue
            inside[signed.epoch, signed.size] = signed
            if (signed.epoch, signed.size, signed.root, signed.signed_at) != (
                row.epoch,
                row.size,
                row.root,
                row.signed_at,
            ):
                yield _checkpoint(row.size, "the columns of the checkpoint do not say what its signed note says")
        if outside is not None:
            yield from self._compare(inside, outside)

    def _compare(self, inside: Mapping[tuple[int, int], Signed], outside: Sequence[str]) -> Iterator[Finding]:
        kept: set[tuple[int, int]] = set()
        for number, note in enumerate(outside, 1):
            try:
                signed = self._open(note)
            except (NoteError, CheckpointError) as error:
                yield Finding("checkpoint", 0, f"Checkpoint {number} outside the database cannot be believed: {error}")
                continue
            kept.add((signed.epoch, signed.size))
            there = inside.get((signed.epoch, signed.size))
            if there is None:
                yield _checkpoint(signed.size, f"{signed.name}, is kept outside, but the database does not have it")
            elif there.root != signed.root:
                yield _checkpoint(signed.size, f"{signed.name}, has one root outside and another in the database")
        for key in inside.keys() - kept:
            what = f"{inside[key].name}, is in the database, but it is not kept outside"
            yield _checkpoint(inside[key].size, what)

    def _open(self, text: str) -> Signed:
        """The checkpoint in a note. Raises NoteError or CheckpointError unless a known key of its log signed it."""
        note = read(text)
        signers = note.open(self._keys)
        checkpoint = Checkpoint.parse(note.text)
        if checkpoint.park != self._park:
            raise CheckpointError(f"It is one of park {checkpoint.park}.")
        if all(key.name != checkpoint.origin for key in signers):
            raise CheckpointError(f"It is signed by {signers[0].name}, which does not sign for {checkpoint.origin}.")
        signed = Signed(checkpoint.epoch, checkpoint.size, checkpoint.root, checkpoint.signed_at)
        for key in signers:
            self.signers[key] = min(checkpoint.size, self.signers.get(key, checkpoint.size))
        return self._signed.setdefault((signed.epoch, signed.size, signed.root), signed)

    def keys(self, adopted: Sequence[tuple[int, Adopted]]) -> Iterator[Finding]:
        """The keys held against those that the log says were adopted, each with its position."""
        since = {one.key: position for position, one in reversed(adopted)}
        for key, size in self.signers.items():
            if since.get(key.text, size + 1) > size:
                what = f"the checkpoint over the first {size} events is signed by {key.text}, which the log had not adopted"
                yield Finding("key", size, f"Position {size}: {what}. The key is forged, or the event was taken out.")
        known = {key.text for key in self._keys}
        before: str | None = None
        for position, one in adopted:
            if one.key not in known:
                what = f"the log adopts the key {one.key}, which is not among those known outside"
                yield Finding("key", position, f"Position {position}: {what}.")
            if one.replaces != before:
                what = f"the key is said to replace {one.replaces or 'none'}, but {before or 'none'} was in force"
                yield Finding("key", position, f"Position {position}: {what}.")
            before = one.key


def _checkpoint(size: int, what: str) -> Finding:
    return Finding("checkpoint", size, f"Position {size}: {what}.")
