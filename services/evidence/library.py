"""The proofs of one park, made from what is stored: of one event, of what lies between two checkpoints, of the keys."""

from functools import partial

import asyncpg

from contracts.evidence import AdoptedKey, ConsistencyProof, KeyAdopted, Proof, SignedCheckpoint
from contracts.leaf import decode, leaf_hash
from contracts.problems import NotFound
from services.core.log import Log
from services.evidence import checkpoints, tiles
from services.evidence.tree import consistency_proof, inclusion_proof

TAG = "evidence"


async def proof(connection: asyncpg.Connection, log: Log, position: int, under: SignedCheckpoint) -> Proof:
    """That an event lies under a checkpoint that covers it; raises NotFound where the event itself was taken out."""
    rows = [row for row in await log.between(position, position) if row.position == position]
    if not rows:
        raise NotFound(
            f"There is no event at position {position}: it was taken out. `fieldledger audit check` finds what else."
        )
    row = rows[0]
    question = partial(inclusion_proof, index=position - 1, size=under.size)
    hashes = await tiles.ask(connection, log.park, question)
    return Proof(
        position=position,
        leaf=row.leaf.decode(),
        leaf_sha256=leaf_hash(row.leaf).hex(),
        index=position - 1,
        size=under.size,
        hashes=tuple(one.hex() for one in hashes),
        checkpoint=under.note,
    )


async def consistency(
    connection: asyncpg.Connection, park: str, first: SignedCheckpoint, second: SignedCheckpoint
) -> ConsistencyProof:
    """That the log under one checkpoint begins with that under another, which is not larger."""
    question = partial(consistency_proof, first=first.size, second=second.size)
    hashes = await tiles.ask(connection, park, question)
    return ConsistencyProof(
        first=first.size,
        second=second.size,
        hashes=tuple(one.hex() for one in hashes),
        first_checkpoint=first.note,
        second_checkpoint=second.note,
    )


async def keys(connection: asyncpg.Connection, log: Log) -> tuple[AdoptedKey, ...]:
    """Every key that the log has adopted, the oldest first, each with the proof under the first checkpoint that covers it."""
    adopted = []
    for row in (await log.read({TAG: 0})).events[TAG]:
        recorded = decode(row.leaf)
        if isinstance(recorded.data, KeyAdopted):
            under = await checkpoints.first_covering(connection, log.park, row.position)
            shown = None if under is None else await proof(connection, log, row.position, under)
            adopted.append(AdoptedKey(vkey=recorded.data.vkey, replaces=recorded.data.replaces, proof=shown))
    return tuple(adopted)
