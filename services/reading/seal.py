"""Where a webhook's receiver is and what its letters are signed with, sealed (AES-256-GCM) under a key that lies outside the database.

`webhooks-<park>.key` holds it in hex. Without it nothing is sent: each webhook is closed and opened anew.
"""

import os
import secrets
from contextlib import suppress
from pathlib import Path
from typing import Final
from uuid import UUID

import msgspec
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from msgspec import Struct

from services.core import durable

KEY: Final = 32
NONCE: Final = 12


class SealBroken(Exception):  # noqa: N818 - a state of the world, not a mistake
    """The key outside is gone, or is not the one that sealed this."""


class Receiver(Struct, frozen=True):
    url: str
    secret: str


class Seal:
    """Of one park. A seal opens only for the opening that it was made for."""

    def __init__(self, folder: Path, park: str) -> None:
        self._file = folder / f"webhooks-{park}.key"
        self._park = park

    def close(self, opening: UUID, receiver: Receiver) -> bytes:
        """Seal; the key is made where there is none."""
        if not self._file.exists():
            self._make()
        nonce = secrets.token_bytes(NONCE)
        return nonce + self._key().encrypt(nonce, msgspec.json.encode(receiver), self._bound(opening))

    def open(self, opening: UUID, sealed: bytes) -> Receiver:
        """What was sealed; raises SealBroken."""
        try:
            plain = self._key().decrypt(sealed[:NONCE], sealed[NONCE:], self._bound(opening))
        except (InvalidTag, ValueError, OSError) as error:
            raise SealBroken(f"{self._file.name} does not open it ({type(error).__name__})") from error
        return msgspec.json.decode(plain, type=Receiver)

    def _bound(self, opening: UUID) -> bytes:
        return f"fieldledger webhook 1\n{self._park}\n{opening}".encode()

    def _key(self) -> AESGCM:
        return AESGCM(bytes.fromhex(self._file.read_text("ascii")))

    def _make(self) -> None:
        """Of two processes that make one at once, the first one's stands."""
        fresh = self._file.with_name(f"{self._file.name}.{secrets.token_hex(4)}")
        durable.append(fresh, f"{secrets.token_bytes(KEY).hex()}\n".encode())
        with suppress(FileExistsError):
            os.link(fresh, self._file)
        fresh.unlink()
        durable.sync(self._file.parent)
