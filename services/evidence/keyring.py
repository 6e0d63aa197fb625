"""The keyring of a park: which keys sign the next checkpoint, and how the log learns of them."""

import asyncio
from collections.abc import Sequence
from hashlib import sha256
from uuid import NAMESPACE_URL, uuid5

from msgspec import Struct

from contracts.envelope import Command
from contracts.evidence import KeyAdopted, VerifierKeyText
from contracts.leaf import decode
from contracts.problems import Refused
from services.core.command import Handler
from services.core.park import Asked, Caller, Park
from services.core.times import Contact
from services.evidence.checkpoint import Checkpoint, origin_of
from services.evidence.note import SigningKey
from services.evidence.outside import Outside

TAG = "evidence"
DEVICE = "server"
"""In whose name the log is told of a key."""


class Signed(Struct, frozen=True):
    """A checkpoint whose signatures hold: as read, as the note it stands in, and the keys that signed it, the newest last."""

    checkpoint: Checkpoint
    note: str
    signers: tuple[SigningKey, ...]


class AdoptKey(Command, frozen=True, kw_only=True):
    """What the server asks of its own park; nobody can send it."""

    FACT = True
    vkey: VerifierKeyText
    replaces: VerifierKeyText | None


_ADOPT = Handler(AdoptKey, lambda _c, _g: set(), lambda c, _g, _m: [KeyAdopted(vkey=c.vkey, replaces=c.replaces)])


class Keyring:
    """One park's keys. Whoever uses it has made sure to be the only one."""

    def __init__(self, park: Park, outside: Outside) -> None:
        self._park = park
        self._outside = outside

    async def signers(self, epoch: int, last: Signed | None, *, new_key: bool) -> tuple[SigningKey, ...]:
        """The keys to sign with, the current one last.

        A new one is made where the epoch has none yet, or one is asked for. Until a checkpoint bears its signature, the log is
        told of it, and the key that it replaces signs beside it.
        """
        origin = origin_of(self._park.park, epoch)
        keys = await asyncio.to_thread(self._outside.keys)
        established = last is not None and last.signers[-1] == keys[-1]
        if not keys or keys[-1].name != origin or (new_key and established):
            keys, established = (*keys, SigningKey.make(origin)), False
            await asyncio.to_thread(self._outside.add_key, keys[-1])
        if established:
            return keys[-1:]
        if last is None or last.checkpoint.epoch == epoch:
            replaced = () if last is None else last.signers[-1:]
        else:
            replaced = await self._in_force(keys)
        await self._adopt(keys[-1], *replaced)
        return (*replaced, keys[-1])

    async def _in_force(self, keys: Sequence[SigningKey]) -> tuple[SigningKey, ...]:
        """The key that the log adopted last, the current one aside: a restore may have lost the adoption of the one that signed last."""
        rows = (await self._park.log.read({TAG: 0})).events[TAG]
        adopted = [data.vkey for data in (decode(row.leaf).data for row in rows) if isinstance(data, KeyAdopted)]
        known = {key.verifier.text: key for key in keys[:-1]}
        return tuple(known[one] for one in adopted if one in known)[-1:]

    async def _adopt(self, key: SigningKey, replaced: SigningKey | None = None) -> None:
        """Record the key in the log, once however often it is tried."""
        text = key.verifier.text
        command = AdoptKey(vkey=text, replaces=None if replaced is None else replaced.verifier.text)
        asked = Asked(
            id=uuid5(NAMESPACE_URL, text),
            digest=sha256(text.encode()).digest(),
            caller=Caller(device=DEVICE, roles=frozenset()),
            contact=Contact(received_at=self._park.clock.now()),
        )
        try:
            await self._park.execute(_ADOPT, command, asked)
        except Refused as error:
            raise ConnectionError(error.detail) from error
