"""What a case file is proven with, taken from a park's checkpoints, tree and keys."""

from collections.abc import Mapping, Sequence

import asyncpg

from contracts.evidence import AdoptedKey
from services.audit.cases.case import Evidence
from services.core.log import Log
from services.evidence import library, note, tiles
from services.evidence.checkpoint import CheckpointError
from services.evidence.note import NoteError, VerifierKey
from services.evidence.proofs import follow
from services.evidence.rounds import Signed
from services.evidence.tree import Nodes, ProofError, inclusion_proof


async def evidence_of(connection: asyncpg.Connection, log: Log, signed: Signed, positions: Sequence[int]) -> Evidence:
    """The proofs of some events under a checkpoint that was just signed, and the chain of keys that leads to its key."""
    size = signed.checkpoint.size

    def question(nodes: Nodes) -> Mapping[int, Sequence[bytes]]:
        return {position: inclusion_proof(nodes, position - 1, size) for position in positions}

    keys, rotations = chain(await library.keys(connection, log), signed.signers[-1].verifier.text)
    return Evidence(
        checkpoint=signed.note,
        keys=keys,
        rotations=rotations,
        proofs=await tiles.ask(connection, log.park, question),
        sign=lambda text: note.sign(text, signed.signers[-1:]),
    )


def chain(adopted: Sequence[AdoptedKey], last: str) -> tuple[tuple[str, ...], tuple[AdoptedKey, ...]]:
    """The keys that lead up to the last one, oldest first, and for each but the first its adoption, which the one before vouches for.

    A restore may have lost a link: the chain then begins behind the gap.
    """
    keys, rotations = [last], list[AdoptedKey]()
    for one in reversed(adopted):
        if one.vkey == keys[0] and _vouched(one):
            keys.insert(0, one.replaces or "")
            rotations.insert(0, one)
    return tuple(keys), tuple(rotations)


def _vouched(one: AdoptedKey) -> bool:
    try:
        return one.replaces is not None and len(follow(VerifierKey.parse(one.replaces), [one])) == 2
    except (NoteError, CheckpointError, ProofError):
        return False
