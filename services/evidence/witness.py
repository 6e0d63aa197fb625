"""The checkpoints that bear witness to a log, kept in the database and outside of it, and the keys that signed them."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime

from msgspec import Struct

from contracts.envelope import Recorded
from contracts.evidence import KeyAdopted
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


class Witness:
    """Reads the notes of one park. `keys` are those that are known outside the database; no other is believed."""

    def __init__(self, park: str, keys: Iterable[VerifierKey]) -> None:
        self._park = park
        self._keys = tuple(keys)
        self._opened: dict[str, Signed] = {}
        self._signers: list[tuple[VerifierKey, Signed]] = []

    @property
    def signed(self) -> list[Signed]:
        """Every checkpoint whose signature holds, wherever it was kept."""
        return list({(one.epoch, one.size, one.root): one for one in self._opened.values()}.values())

    def read(self, rows: Sequence[CheckpointRow], outside: Sequence[str] | None) -> Iterator[Finding]:
        """Hear them all: those in the database, and those outside, None where that place cannot be read."""
        inside: dict[tuple[int, int], Signed] = {}
        for row in rows:
            try:
                signed = self._open(row.note)
            except (NoteError, CheckpointError) as error:
                yield _checkpoint(
                    row.size, f"the checkpoint in the database cannot be believed: {str(error).rstrip('.')}"
                )
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
        if text in self._opened:
            return self._opened[text]
        note = read(text)
        signers = note.open(self._keys)
        checkpoint = Checkpoint.parse(note.text)
        if checkpoint.park != self._park:
            raise CheckpointError(f"It is one of park {checkpoint.park}.")
        if all(key.name != checkpoint.origin for key in signers):
            raise CheckpointError(f"It is signed by {signers[0].name}, which does not sign for {checkpoint.origin}.")
        signed = Signed(checkpoint.epoch, checkpoint.size, checkpoint.root, checkpoint.signed_at)
        self._signers += ((key, signed) for key in signers)
        self._opened[text] = signed
        return signed

    def keys(
        self, adopted: Sequence[Recorded[KeyAdopted]], superseded: Sequence[Signed], known: Iterable[VerifierKey]
    ) -> Iterator[Finding]:
        """The keys held against those that the log says were adopted: all of these must be known outside by then, and have signed.

        What a restore lost may have adopted others.
        """
        since = {event.data.vkey: event.position for event in reversed(adopted)}
        told: set[VerifierKey] = set()
        signing = {key.text for key, _ in self._signers}
        for key, signed in self._signers:
            if signed not in superseded and since.get(key.text, signed.size + 1) > signed.size and key not in told:
                told.add(key)
                what = f"{signed.name}, is signed by {key.text}, a key that the log had not adopted"
                yield Finding("key", signed.size, f"Position {signed.size}: {what}. It may be forged.")
        texts = {key.text for key in known}
        for before, event in zip((None, *adopted), adopted, strict=False):
            if event.data.vkey not in texts:
                what = f"the log adopts the key {event.data.vkey}, which is not known outside the database"
                yield Finding("key", event.position, f"Position {event.position}: {what}.")
            elif event.data.vkey not in signing:
                what = "the log adopts a key here, but no checkpoint that it signed is kept"
                do = "If a round was broken off, sign one: fieldledger audit checkpoint --sign. If none was, they were taken away"
                yield Finding("key", event.position, f"Position {event.position}: {what}. {do}.")
            in_force = before.data.vkey if before else None
            if event.data.replaces != in_force and (before is None or before.epoch == event.epoch):
                what = f"the key adopted here is said to replace {event.data.replaces or 'none'}, but {in_force or 'none'} was in force"
                yield Finding("key", event.position, f"Position {event.position}: {what}.")


def _checkpoint(size: int, what: str) -> Finding:
    return Finding("checkpoint", size, f"Position {size}: {what}.")
