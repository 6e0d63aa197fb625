"""Signed notes (C2SP signed-note, Ed25519): a text that anyone can read, with the signatures of one or more keys below it.

A note is the text, an empty line, and a line for each signature: `— <key name> <base64 of the key's id and the signature>`.
"""

import unicodedata
from base64 import b64decode, b64encode
from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import Self

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from msgspec import Struct

MOST_SIGNATURES = 64
"""The standard asks for at least 16 to be read."""
_ED25519 = b"\x01"
_DASH = "\N{EM DASH} "


class NoteError(ValueError):
    """It is no signed note, no key, or no note of a key that is known."""


class VerifierKey(Struct, frozen=True):
    """The public half of a key, and the name it signs under."""

    name: str
    public: bytes

    @property
    def id(self) -> bytes:
        """Four bytes that tell it from other keys of its name; no proof of anything."""
        return sha256(self.name.encode() + b"\n" + _ED25519 + self.public).digest()[:4]

    @property
    def text(self) -> str:
        """The key as people hand it on: `<name>+<id in hex>+<base64>`."""
        return f"{self.name}+{self.id.hex()}+{b64encode(_ED25519 + self.public).decode()}"

    @classmethod
    def parse(cls, text: str) -> Self:
        """The key that such a text names; raises NoteError."""
        parts = text.split("+", 2)
        if len(parts) != 3:
            raise NoteError(f"{text[:80]!r} is no verifier key: it has the form <name>+<id>+<key in base64>.")
        name, named_id, key = parts
        _check_name(name)
        encoded = _base64(key, f"The key {name}")
        if encoded[:1] != _ED25519 or len(encoded) != 33:
            raise NoteError(f"The key {name} is no Ed25519 key: that is a byte 1 and 32 bytes, in base64.")
        found = cls(name, encoded[1:])
        if found.id.hex() != named_id:
            raise NoteError(f"The key {name} calls itself {named_id}, but its id is {found.id.hex()}: copy it again.")
        return found

    def verify(self, text: str, signature: bytes) -> None:
        """Raises NoteError unless this key signed the text."""
        try:
            Ed25519PublicKey.from_public_bytes(self.public).verify(signature, text.encode())
        except (InvalidSignature, ValueError):
            raise NoteError(
                f"The signature of {self.name} ({self.id.hex()}) is not over this text: the one or the other was changed."
            ) from None


class SigningKey(Struct, frozen=True):
    """A key that can sign: its name and its 32 secret bytes."""

    name: str
    seed: bytes

    @classmethod
    def make(cls, name: str) -> Self:
        """A new key from the system's randomness."""
        _check_name(name)
        return cls(name, Ed25519PrivateKey.generate().private_bytes_raw())

    def __repr__(self) -> str:
        return f"SigningKey({self.verifier.text})"

    @property
    def verifier(self) -> VerifierKey:
        return VerifierKey(self.name, self._private.public_key().public_bytes_raw())

    @property
    def _private(self) -> Ed25519PrivateKey:
        return Ed25519PrivateKey.from_private_bytes(self.seed)

    def sign(self, text: str) -> bytes:
        """64 bytes."""
        return self._private.sign(text.encode())


class Signature(Struct, frozen=True):
    """One line below a note: whose it says it is, and what it holds."""

    name: str
    id: bytes
    signature: bytes


class Note(Struct, frozen=True):
    """A note that was read, its signatures not verified yet."""

    text: str
    signatures: tuple[Signature, ...]

    def open(self, known: Iterable[VerifierKey]) -> tuple[VerifierKey, ...]:
        """Those of the known keys that signed it, each verified; signatures of others are ignored.

        Raises NoteError when none did, or when the signature of one that is known does not hold.
        """
        keys = {(key.name, key.id): key for key in known}
        signers = []
        for signature in self.signatures:
            key = keys.get((signature.name, signature.id))
            if key is not None:
                key.verify(self.text, signature.signature)
                signers.append(key)
        if not signers:
            names = ", ".join(f"{one.name} ({one.id.hex()})" for one in self.signatures)
            raise NoteError(f"No key that is known has signed this note. It bears signatures of {names}.")
        return tuple(signers)


def sign(text: str, keys: Sequence[SigningKey]) -> str:
    """The text as a note that each of the keys has signed; raises NoteError when it cannot be one."""
    _check_text(text)
    lines = (f"{_DASH}{key.name} {b64encode(key.verifier.id + key.sign(text)).decode()}\n" for key in keys)
    return f"{text}\n{''.join(lines)}"


def read(note: str | bytes) -> Note:
    """What a note says and the signatures it bears; raises NoteError with what is wrong."""
    if isinstance(note, bytes):
        try:
            note = note.decode()
        except UnicodeDecodeError as error:
            raise NoteError(f"The note is not UTF-8: byte {error.start}.") from None
    text, separator, signatures = note.rpartition("\n\n")
    if not separator:
        raise NoteError("The note has no empty line between its text and its signatures.")
    text += "\n"
    _check_text(text)
    if not signatures.endswith("\n"):
        raise NoteError("The note has no line feed at its end: its last signature may be cut short.")
    lines = signatures[:-1].split("\n")
    if len(lines) > MOST_SIGNATURES:
        raise NoteError(f"The note has {len(lines)} signatures; at most {MOST_SIGNATURES} are read.")
    return Note(text, tuple(_signature(line) for line in lines))


def _signature(line: str) -> Signature:
    if not line.startswith(_DASH):
        raise NoteError(f"A signature line begins with an em dash and a space; this one does not: {line[:80]!r}.")
    name, _, encoded = line.removeprefix(_DASH).partition(" ")
    _check_name(name)
    raw = _base64(encoded, f"The signature of {name}")
    if len(raw) < 5:
        raise NoteError(f"The signature of {name} has {len(raw)} bytes: four name the key, the rest are the signature.")
    return Signature(name, raw[:4], raw[4:])


def _check_text(text: str) -> None:
    if not text.strip("\n") or not text.endswith("\n"):
        raise NoteError("The text of a note is not empty and ends with a line feed.")
    control = next((letter for letter in text if letter < " " and letter != "\n"), None)
    if control is not None:
        raise NoteError(
            f"The text of a note has no control characters but line feeds; this one has U+{ord(control):04X}."
        )


def _check_name(name: str) -> None:
    if not name or "+" in name or any(letter.isspace() or unicodedata.category(letter) == "Cc" for letter in name):
        raise NoteError(f"A key's name is not empty and has neither spaces nor a plus sign: {name[:80]!r}.")


def _base64(text: str, what: str) -> bytes:
    try:
        raw = b64decode(text, validate=True)
    except ValueError:
        raise NoteError(f"{what} is not in base64.") from None
    if b64encode(raw).decode() != text:
        raise NoteError(f"{what} is not in base64 as it is written: another text means the same bytes.")
    return raw
