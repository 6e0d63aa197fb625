"""Examining a case file: everything in it that can be proven, and a sentence for everything that is wrong with it. No database, no network."""

from collections.abc import Iterator, Mapping
from hashlib import sha256
from itertools import pairwise
from typing import Annotated, Any

import msgspec
from msgspec import Meta, Struct

from contracts import leaf
from contracts.envelope import UNREADABLE
from contracts.evidence import AdoptedKey
from contracts.leaf import LeafError, leaf_hash
from services.audit.cases import archive
from services.audit.cases.archive import MANIFEST, SIGNATURE, NotACaseFile
from services.evidence.checkpoint import Checkpoint, CheckpointError
from services.evidence.note import NoteError, VerifierKey, read
from services.evidence.proofs import follow
from services.evidence.tree import ProofError, verify_inclusion

NEEDED = (
    "README.txt",
    "checkpoint.txt",
    "keys.txt",
    "proofs.json",
    "story.json",
    "report.pdf",
    "report.html",
    "verify.py",
)
Hash = Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]


class Proven(Struct, frozen=True, forbid_unknown_fields=True):
    """One event's line of proofs.json."""

    position: Annotated[int, Meta(ge=1)]
    index: int
    leaf_sha256: Hash
    withheld: bool
    hashes: tuple[Hash, ...]


class Proofs(Struct, frozen=True, forbid_unknown_fields=True):
    """proofs.json."""

    park: str
    subject: str
    size: int
    root: Hash
    events: tuple[Proven, ...]


class Findings(Struct, frozen=True):
    """What an examination came to: `wrong` is empty where the file is as the park signed it."""

    wrong: tuple[str, ...]
    proven: tuple[str, ...] = ()


def examine(data: bytes, trusted: str = "") -> Findings:
    """Examine the bytes of a case file; `trusted` is a verifier key that was learnt elsewhere."""
    try:
        files = archive.unpacked(data)
    except NotACaseFile as error:
        return Findings((str(error),))
    listed = (*_container(data, files), *_manifest(files))
    missing = tuple(f"{name} is missing: every case file has it." for name in NEEDED if name not in files)
    if missing:
        return Findings((*listed, *missing))
    try:
        keys = _keys(files)
        head, proofs = _head(files, keys), msgspec.json.decode(files["proofs.json"], type=Proofs)
    except (NotACaseFile, NoteError, CheckpointError) as error:
        return Findings((*listed, str(error)))
    except UNREADABLE as error:
        return Findings((*listed, f"proofs.json cannot be read: {error}."))
    wrong = (*listed, *_signatures(files, keys, trusted), *_events(files, head, proofs))
    return Findings(wrong, () if wrong else _said(files, head, proofs, keys, trusted))


def _container(data: bytes, files: Mapping[str, bytes]) -> Iterator[str]:
    """The ZIP around the files: where it is another than the park makes of them, other tools may unpack other files from it."""
    if archive.zipped(files) != data:
        yield "The ZIP was packed anew or added to: it holds bytes that the park did not write. Ask for it as the park made it."


def _manifest(files: Mapping[str, bytes]) -> Iterator[str]:
    """Every file against the manifest; the name of an event's file says which event it is."""
    try:
        lines = files[MANIFEST].decode().splitlines()
    except UnicodeDecodeError:
        yield f"{MANIFEST} is not text: it was changed."
        return
    listed = {line[66:]: line[:64] for line in lines}
    for name in sorted(files.keys() - {MANIFEST, SIGNATURE} | listed.keys()):
        if name not in files:
            yield f"{name} is in the manifest, but missing from the file: it was taken out."
        elif name not in listed:
            yield f"{name} is not in the manifest: it was put in afterwards, or renamed."
        elif sha256(files[name]).hexdigest() != listed[name]:
            yield f"{name} was changed: its SHA-256 is not the manifest's."


def _keys(files: Mapping[str, bytes]) -> tuple[VerifierKey, ...]:
    """The park's keys, oldest first; raises NoteError or NotACaseFile."""
    try:
        lines = files["keys.txt"].decode().splitlines()
    except UnicodeDecodeError:
        raise NotACaseFile("keys.txt is not text: it was changed.") from None
    if not lines:
        raise NotACaseFile("keys.txt names no key, so nothing in this file can be verified.")
    try:
        return tuple(map(VerifierKey.parse, lines))
    except NoteError as error:
        raise NoteError(f"keys.txt: {error}") from None


def _head(files: Mapping[str, bytes], keys: tuple[VerifierKey, ...]) -> Checkpoint:
    """The checkpoint, once its signature is verified; raises NoteError or CheckpointError."""
    try:
        note = read(files["checkpoint.txt"])
        note.open(keys[-1:])
        head = Checkpoint.parse(note.text)
        _ = head.park, head.epoch, head.signed_at
    except (NoteError, CheckpointError) as error:
        raise type(error)(f"checkpoint.txt: {error}") from None
    if head.origin != keys[-1].name:
        raise CheckpointError(f"checkpoint.txt is of {head.origin}, but the key signs for {keys[-1].name}.")
    return head


def _signatures(files: Mapping[str, bytes], keys: tuple[VerifierKey, ...], trusted: str) -> Iterator[str]:
    """The manifest's signature, the chain of keys, and the key that was learnt elsewhere."""
    try:
        note = read(files[SIGNATURE])
        note.open(keys[-1:])
        if note.text.encode() != files[MANIFEST]:
            yield f"{SIGNATURE} is over another manifest than {MANIFEST}: one of the two was changed."
        if len(note.signatures) != 1:
            yield f"{SIGNATURE} bears {len(note.signatures)} signatures: the park's is the only one that belongs there."
    except NoteError as error:
        yield f"{SIGNATURE}: {error}"
    for number, pair in enumerate(pairwise(keys), 1):
        for sentence in _rotation(files.get(f"rotations/{number}.json", b""), pair):
            yield f"rotations/{number}.json: {sentence} Nothing vouches for key {number + 1}."
    if trusted and trusted.strip() not in {key.text for key in keys}:
        yield "keys.txt does not name the key that you gave: the file is another park's, or was signed with a forged key."


def _rotation(data: bytes, pair: tuple[VerifierKey, VerifierKey]) -> Iterator[str]:
    """Whether the older of two keys vouches for the newer: by signing a log that adopts it, since anybody can sign beside it."""
    old, new = pair
    try:
        adopted = msgspec.json.decode(data, type=AdoptedKey)
        if (adopted.replaces, adopted.vkey) != (old.text, new.text) or follow(old, [adopted]) != pair:
            yield "It does not prove that the log adopted this key in place of the one before."
    except UNREADABLE as error:
        yield f"It cannot be read: {error}."
    except (NoteError, CheckpointError, ProofError) as error:
        yield str(error)


def _events(files: Mapping[str, bytes], head: Checkpoint, proofs: Proofs) -> Iterator[str]:
    """Every event against its hash, its name, its proof."""
    if (proofs.park, proofs.size, proofs.root) != (head.park, head.size, head.root.hex()):
        yield "proofs.json speaks of another checkpoint than checkpoint.txt."
    if not proofs.events:
        yield "proofs.json proves no event."
    named = {f"events/{one.position}.{'view.json' if one.withheld else 'leaf'}" for one in proofs.events}
    for name in sorted(files):
        if name.startswith("events/") and name not in named:
            yield f"{name} has no proof: it was put in, or its line was taken out of proofs.json."
    for one in proofs.events:
        for sentence in _event(files, head, one):
            yield f"Event {one.position}: {sentence}"


def _event(files: Mapping[str, bytes], head: Checkpoint, one: Proven) -> Iterator[str]:
    name = f"events/{one.position}.{'view.json' if one.withheld else 'leaf'}"
    if name not in files:
        yield f"{name} is missing."
    elif one.withheld:
        yield from _view(name, files[name], one)
    else:
        yield from _leaf(name, files[name], head, one)
    if one.index != one.position - 1:
        yield f"its place in the tree is {one.position - 1}, but proofs.json says {one.index}."
    try:
        hashes = [bytes.fromhex(sibling) for sibling in one.hashes]
        verify_inclusion(bytes.fromhex(one.leaf_sha256), one.position - 1, head.size, hashes, head.root)
    except ProofError as error:
        yield f"its proof is wrong. {error}"


def _leaf(name: str, data: bytes, head: Checkpoint, one: Proven) -> Iterator[str]:
    if leaf_hash(data).hex() != one.leaf_sha256:
        yield f"{name} was changed: its hash is not the one that was proven."
        return
    try:
        event = leaf.decode(data)
    except LeafError as error:
        yield f"{name} is {error}."
        return
    if event.position != one.position:
        yield f"{name} holds the event of position {event.position}."
    if event.park != head.park:
        yield f"{name} is of the park {event.park}, but the checkpoint is of {head.park}."
    if event.epoch > head.epoch:
        yield f"{name} is of epoch {event.epoch}, later than the checkpoint's {head.epoch}."


def _view(name: str, data: bytes, one: Proven) -> Iterator[str]:
    try:
        told: Any = msgspec.json.decode(data)
    except UNREADABLE:
        told = None
    if not isinstance(told, dict) or told.get("withheld") is not True:
        yield f"{name} is not marked as the view of a withheld event."
    elif (told.get("position"), told.get("leaf_sha256")) != (one.position, one.leaf_sha256):
        yield f"{name} speaks of another event."


def _said(
    files: Mapping[str, bytes], head: Checkpoint, proofs: Proofs, keys: tuple[VerifierKey, ...], trusted: str
) -> tuple[str, ...]:
    held = sum(one.withheld for one in proofs.events)
    return (
        f"Verified: {len(files)} files about {proofs.subject} of park {head.park}, as the park signed them.",
        f"{len(proofs.events) - held} events are here byte for byte and lie under the checkpoint of {head.size} events, signed {head.signed_at:%Y-%m-%d %H:%M:%S} UTC.",
        f"{held} more are withheld: their hashes lie under it too; what their views say is the park's own statement, as are the story and the report.",
        "The signatures go back to the key that you gave."
        if trusted
        else f"Compare the park's key with one that you have from elsewhere, or give that with --key: {keys[-1].text}",
    )
