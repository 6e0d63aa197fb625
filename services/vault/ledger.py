"""Erasures carried out, and carried out again: what the log or the ledger outside calls erased cannot be read any more.

The event comes first, then the ledger, then the key is destroyed. A process that dies in between finishes at its next start, and
after the restore of an older backup the ledger destroys anew what came back, and puts on the record what the log has lost.
"""

import asyncio
from uuid import uuid5

from contracts.envelope import Command, Data
from contracts.vault import ErasureReapplied
from services.core.command import Handler, Moment
from services.core.fold import Given
from services.core.park import Asked, Caller, Park, digest_of
from services.core.times import Contact
from services.vault.safe import Vault
from services.vault.states import ERASURES, Erasure

DEVICE = "server"


class _Reapply(Command, frozen=True, kw_only=True):
    """No route takes it: the ledger says it."""

    FACT = True
    erasure: Erasure


async def reapply(park: Park, vault: Vault) -> int:
    """Carry out every erasure that the log or the ledger knows; returns how many of them the log had lost.

    Safe to call at any time and from several processes; raises VaultClosed while the ledger cannot be read.
    """
    given, _ = await park.load(lambda _: {(ERASURES, "")})
    recorded = given.of(ERASURES, "").erased
    told = await asyncio.to_thread(vault.outside.erasures)
    unwritten = [one for person, one in recorded.items() if person not in told]
    await asyncio.to_thread(vault.outside.record, unwritten)
    await vault.destroy({*recorded, *told})
    lost = [one for person, one in told.items() if person not in recorded]
    for one in lost:
        await park.execute(_REAPPLY, _Reapply(erasure=one), _asked(park, one))
    vault.settled = True
    return len(lost)


def _asked(park: Park, erasure: Erasure) -> Asked:
    """One request for each erasure, whichever process makes it, and another after another restore."""
    return Asked(
        id=uuid5(erasure.id, "reapplied"),
        digest=digest_of("vault/reapply", erasure.id.bytes),
        caller=Caller(device=DEVICE, roles=frozenset()),
        contact=Contact(received_at=park.clock.now()),
    )


def _decide(command: _Reapply, _: Given, __: Moment) -> list[Data]:
    erasure = command.erasure
    return [ErasureReapplied(person=erasure.person, erasure=erasure.id, erased_at=erasure.at)]


_REAPPLY = Handler(_Reapply, lambda _command, _given: (), _decide)
