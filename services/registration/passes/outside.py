"""The park's pass keys, in a file outside the database that only this account can read.

`pass-keys-<park>.json` holds them in the order in which they were made, the one in use last. None is ever taken out: an old one
verifies the passes of its days. Whoever reads the file can forge passes, though nobody is cleared by a pass; then renew the key as stolen.
"""

import fcntl
import os
from base64 import b64decode, b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import msgspec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from msgspec import Struct

from contracts.passes import PassKey, pass_key
from contracts.problems import Unavailable
from services.core import durable


class PassKeysUnusable(Unavailable):
    """The file of the pass keys cannot be used; the sentence says which, and what to do."""

    @classmethod
    def type_uri(cls) -> str:
        return Unavailable.type_uri()


class SigningKey(Struct, frozen=True, kw_only=True):
    """One key, as it lies in the file. `made_for`: the request that asked for it, so that its repeat finds it."""

    seed: str
    from_day: date | None = None
    """None while the log has not been told of it: it signs nothing, and nobody hears of it."""
    until_day: date | None = None
    made_for: str = ""

    @property
    def private(self) -> Ed25519PrivateKey:
        return Ed25519PrivateKey.from_private_bytes(b64decode(self.seed, validate=True))

    def public(self, park: str) -> PassKey:
        return pass_key(self.private, park, self.from_day or date.max, self.until_day)


def new_key(from_day: date | None = None, made_for: str = "") -> SigningKey:
    seed = Ed25519PrivateKey.generate().private_bytes_raw()
    return SigningKey(seed=b64encode(seed).decode(), from_day=from_day, made_for=made_for)


class PassFile:
    """One park's file. Every method raises PassKeysUnusable."""

    def __init__(self, folder: Path, park: str) -> None:
        self.path = folder / f"pass-keys-{park}.json"
        self._kept: tuple[int, tuple[SigningKey, ...]] | None = None

    def read(self) -> tuple[SigningKey, ...]:
        """Every key; read again once the file is another, for any process may have renewed the key."""
        with _told(self.path):
            if not self.path.exists():
                return ()
            written = self.path.stat().st_mtime_ns
            if self._kept is None or self._kept[0] != written:
                keys = msgspec.json.decode(self.path.read_bytes(), type=tuple[SigningKey, ...])
                _ = [key.private for key in keys]
                self._kept = (written, keys)
            return self._kept[1]

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Of all processes only this one changes the file, for the block."""
        with _told(self.path):
            descriptor = os.open(self.path.with_suffix(".lock"), os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX)
            yield
        finally:
            os.close(descriptor)

    def write(self, keys: tuple[SigningKey, ...]) -> None:
        """Put these keys in place of those before, durably, whole or not at all."""
        with _told(self.path):
            fresh = self.path.with_suffix(".new")
            fresh.unlink(missing_ok=True)
            durable.append(fresh, msgspec.json.format(msgspec.json.encode(keys), indent=1) + b"\n")
            fresh.replace(self.path)
            durable.sync(self.path.parent)
        self._kept = None


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise PassKeysUnusable(
            f"{path.name} cannot be used ({error.strerror}). Make it so; until then passes are looked up by their bare code or the armband."
        ) from error
    except (ValueError, msgspec.MsgspecError) as error:
        raise PassKeysUnusable(
            f"{path.name} holds what is not ours: {error}. Put back the copy that was made of it; until then passes are looked up by their bare code or the armband."
        ) from error
