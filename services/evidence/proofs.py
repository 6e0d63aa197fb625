"""What a reader makes of proofs: whether an event lies under a checkpoint, and which keys follow from one that is trusted.

Everything here is pure, so that it can run wherever there is a proof and a key: no log, no database, no network.
"""

from collections.abc import Iterable, Sequence

from contracts.evidence import AdoptedKey, ConsistencyProof, KeyAdopted, Proof
from contracts.leaf import LeafError, decode, leaf_hash
from services.evidence import note
from services.evidence.checkpoint import Checkpoint
from services.evidence.note import NoteError, VerifierKey
from services.evidence.tree import ProofError, verify_consistency, verify_inclusion


def opened(text: str, known: Iterable[VerifierKey]) -> Checkpoint:
    """The checkpoint in a note that a known key has signed; raises NoteError, CheckpointError."""
    read = note.read(text)
    read.open(known)
    return Checkpoint.parse(read.text)


def verify(proof: Proof, known: Iterable[VerifierKey]) -> Checkpoint:
    """The checkpoint under which the proof's event lies; raises NoteError, CheckpointError, ProofError with what is wrong."""
    checkpoint = opened(proof.checkpoint, known)
    leaf = proof.leaf.encode()
    where = f"Position {proof.position}"
    if leaf_hash(leaf).hex() != proof.leaf_sha256:
        raise ProofError(f"{where}: the leaf's hash is not {proof.leaf_sha256}: the leaf or the hash was changed.")
    if proof.size != checkpoint.size or proof.index != proof.position - 1:
        raise ProofError(f"{where}: the proof is for leaf {proof.index} of {proof.size}, not for this checkpoint's.")
    try:
        recorded = decode(leaf)
        verify_inclusion(leaf_hash(leaf), proof.index, checkpoint.size, unhex(proof.hashes), checkpoint.root)
    except (LeafError, ProofError) as error:
        raise ProofError(f"{where}: {error}") from error
    if (recorded.park, recorded.position) != (checkpoint.park, proof.position):
        raise ProofError(f"{where}: the leaf says that it is position {recorded.position} of {recorded.park}.")
    return checkpoint


def verify_continuity(proof: ConsistencyProof, known: Sequence[VerifierKey]) -> tuple[Checkpoint, Checkpoint]:
    """Both checkpoints, of which the later continues the earlier; raises NoteError, CheckpointError, ProofError."""
    first, second = opened(proof.first_checkpoint, known), opened(proof.second_checkpoint, known)
    verify_consistency(first.size, second.size, first.root, second.root, unhex(proof.hashes))
    return first, second


def follow(known: VerifierKey, adopted: Sequence[AdoptedKey]) -> tuple[VerifierKey, ...]:
    """The keys that can be trusted by whoever trusts one: that one, and in turn each whose adoption it vouches for.

    It vouches by signing a checkpoint over the event that adopts the next. That both have signed the checkpoint would be no
    proof alone: anybody can add a signature of his own. Raises NoteError, CheckpointError, ProofError where a link is broken.
    """
    trusted = [known]
    for one in adopted:
        if one.replaces != trusted[-1].text or one.proof is None:
            continue
        key = VerifierKey.parse(one.vkey)
        verify(one.proof, trusted[-1:])
        note.read(one.proof.checkpoint).open([key])  # it holds what it was adopted for: its secret half
        data = decode(one.proof.leaf.encode()).data
        if not isinstance(data, KeyAdopted) or (data.vkey, data.replaces) != (one.vkey, one.replaces):
            raise NoteError(f"Position {one.proof.position} does not adopt the key {key.name} ({key.id.hex()}).")
        trusted.append(key)
    return tuple(trusted)


def unhex(hashes: Iterable[str]) -> list[bytes]:
    """Hashes from their hexadecimal; raises ProofError."""
    try:
        return [bytes.fromhex(one) for one in hashes]
    except ValueError:
        raise ProofError("A hash of the proof is not in hexadecimal.") from None
