"""What a case file is proven with, taken from a park's checkpoints, tree and keys."""

from collections.abc import Mapping, Sequence
from typing import Any

import asyncpg

from contracts.envelope import Recorded
from contracts.evidence import KeyAdopted
from services.audit.cases.case import Evidence
from services.core.log import Log
from services.core.recent import recent
from services.evidence import checkpoints, note, tiles
from services.evidence.rounds import Signed
from services.evidence.tree import Nodes, inclusion_proof

ADOPTED = "evidence"


async def evidence_of(connection: asyncpg.Connection, log: Log, signed: Signed, positions: Sequence[int]) -> Evidence:
    """The proofs of some events under a checkpoint that was just signed, and the chain of keys that leads to its key."""
    size = signed.checkpoint.size

    def question(nodes: Nodes) -> Mapping[int, Sequence[bytes]]:
        return {position: inclusion_proof(nodes, position - 1, size) for position in positions}

    keys, rotations = await _chain(connection, log, size)
    return Evidence(
        checkpoint=signed.note,
        keys=keys,
        rotations=rotations,
        proofs=await tiles.ask(connection, log.park, question),
        sign=lambda text: note.sign(text, signed.signers[-1:]),
    )


async def _chain(connection: asyncpg.Connection, log: Log, size: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The keys that the log adopted, oldest first, and for each but the first the checkpoint that the one before signed with it."""
    events: list[Recorded[Any]] = [recent(row.leaf) for row in await log.story([ADOPTED], 0, size)]
    adopted = unbroken([event for event in events if isinstance(event.data, KeyAdopted)])
    rotations = []
    for event in adopted:
        if event.data.replaces is not None:
            (first,) = await checkpoints.after(connection, log.park, event.epoch, event.position - 1, 1)
            rotations.append(first.note)
    before = [event.data.replaces for event in adopted[:1] if event.data.replaces is not None]
    return (*before, *(event.data.vkey for event in adopted)), tuple(rotations)


def unbroken(adopted: Sequence[Recorded[KeyAdopted]]) -> Sequence[Recorded[KeyAdopted]]:
    """The last of these adoptions that follow on each other. A restore may have lost one: the chain then begins behind the gap."""
    begins = 0
    for number in range(1, len(adopted)):
        if adopted[number].data.replaces != adopted[number - 1].data.vkey:
            begins = number
    return adopted[begins:]
