"""Sealing: one random key a person, from which one key seals (AES-256-GCM) and another makes digests (HMAC-SHA-256).

A seal opens only for what it was made for: park, person, entry and kind are bound into it. Person keys lie wrapped under the park's master key.
"""

import hmac
import secrets
from hashlib import sha256

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from msgspec import Struct

KEY = 32
NONCE = 12


class SealBroken(Exception):  # noqa: N818 - the seal is what is broken
    """These bytes were not sealed for this, under this key; or they were changed."""


class Label(Struct, frozen=True, kw_only=True):
    """What a detail is the detail of: bound into its seal and its digest."""

    park: str
    person: str
    entry: str
    kind: str

    @property
    def bound(self) -> bytes:
        """No part of a label can hold a line feed, so no two labels are alike here."""
        return _lines("fieldledger detail 1", self.park, self.person, self.entry, self.kind)


class PersonKey:
    """A person's key at work. Whoever destroys it destroys all that it sealed."""

    def __init__(self, secret: bytes) -> None:
        self._sealing = AESGCM(derived(secret, b"fieldledger vault seal 1"))
        self._digesting = derived(secret, b"fieldledger vault digest 1")

    def seal(self, label: Label, text: str) -> bytes:
        return _seal(self._sealing, label.bound, text.encode())

    def open(self, label: Label, sealed: bytes) -> str:
        """The text of a detail; raises SealBroken."""
        return _open(self._sealing, label.bound, sealed).decode()

    def digest(self, label: Label, text: str) -> str:
        """What the log holds of a detail, in hex."""
        return hmac.digest(self._digesting, label.bound + text.encode(), sha256).hex()

    def digest_of_request(self, plain: bytes) -> bytes:
        """What makes two requests the same, keyed: the plain hash of a body with a name in it can be guessed."""
        return hmac.digest(self._digesting, _lines("fieldledger request 1") + plain, sha256)


class MasterKey:
    """The park's own key, under which every person's key lies in the database."""

    def __init__(self, secret: bytes) -> None:
        self._wrapping = AESGCM(secret)

    def new(self, park: str, person: str) -> bytes:
        """A new random key of a person, wrapped."""
        return _seal(self._wrapping, _lines("fieldledger person 1", park, person), secrets.token_bytes(KEY))

    def unwrap(self, park: str, person: str, wrapped: bytes) -> PersonKey:
        """A person's key; raises SealBroken."""
        return PersonKey(_open(self._wrapping, _lines("fieldledger person 1", park, person), wrapped))


def derived(secret: bytes, purpose: bytes) -> bytes:
    """A key for one purpose (HKDF-SHA-256, RFC 5869, no salt: the secret is uniformly random)."""
    return HKDF(algorithm=SHA256(), length=KEY, salt=None, info=purpose).derive(secret)


def _seal(key: AESGCM, bound: bytes, text: bytes) -> bytes:
    nonce = secrets.token_bytes(NONCE)
    return nonce + key.encrypt(nonce, text, bound)


def _open(key: AESGCM, bound: bytes, sealed: bytes) -> bytes:
    try:
        return key.decrypt(sealed[:NONCE], sealed[NONCE:], bound)
    except (InvalidTag, ValueError) as error:
        raise SealBroken("this seal does not open here") from error


def _lines(*parts: str) -> bytes:
    return "".join(f"{part}\n" for part in parts).encode()
