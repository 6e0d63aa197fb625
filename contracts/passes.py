"""Day passes: what the code on a pass holds, and how anybody checks it with the park's public keys and without the park.

The code is `FLDP` and the base32 (RFC 4648, upper case, no padding) of: version (1 byte), id of the key (4), operating day (2, in
days since 1970-01-01, big-endian), the pass's own id (UTF-8), Ed25519 signature (64, RFC 8032). The signature is over
`fieldledger day pass 1`, a line feed, the park, a line feed, and the bytes before it. Nothing of it is personal data: the id is made
for the day and says nothing of anybody. A genuine pass clears nobody: it names a player, and whether he may enter is asked of the record.
"""

from base64 import b32decode, b32encode, b64decode, b64encode
from collections.abc import Iterable
from datetime import date, timedelta
from hashlib import sha256
from typing import Annotated, Final

import msgspec
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from msgspec import Meta, Struct

from contracts.problems import (
    PassExpired,
    PassKeyUnknown,
    PassNotGenuine,
    PassNotYetValid,
    PassOfAnotherPark,
    PassReplaced,
    Refused,
)
from contracts.registration import PassKeyId, PassPublicKey
from contracts.words import Day, DayPass, ParkId

PREFIX: Final = "FLDP"
VERSION: Final = 1
LONGEST_CODE: Final = 64
"""Characters of the longest pass id; a signed text is always longer, so the two cannot be taken for each other."""
PASS_REFUSALS: Final[tuple[type[Refused], ...]] = (
    PassNotGenuine,
    PassKeyUnknown,
    PassOfAnotherPark,
    PassExpired,
    PassNotYetValid,
    PassReplaced,
)
_HEAD, _SIGNATURE = 7, 64
_EPOCH: Final = date(1970, 1, 1)
Shown = Annotated[
    str,
    Meta(
        examples=["pass-7Q4M"],
        description="A day pass as it was scanned, signature and all, or the bare code as it was typed.",
    ),
]


class PassKey(Struct, frozen=True, kw_only=True):
    """A public key that verifies the passes of some days."""

    park: ParkId
    id: PassKeyId
    public_key: PassPublicKey
    from_day: Day
    until_day: Day | None
    """The last day whose passes it verifies; null while it is in use."""


class PassKeys(Struct, frozen=True, kw_only=True):
    """What a device needs to check passes without the network. `day` is the operating day at the park now."""

    park: ParkId
    day: Day
    keys: tuple[PassKey, ...]


def pass_key(private: Ed25519PrivateKey, park: str, from_day: date, until_day: date | None = None) -> PassKey:
    """The public half of a key, as it is handed out."""
    public = private.public_key().public_bytes_raw()
    return PassKey(
        park=park,
        id=_id_of(public).hex(),
        public_key=b64encode(public).decode(),
        from_day=from_day,
        until_day=until_day,
    )


def write_pass(private: Ed25519PrivateKey, park: str, day: date, day_pass: str) -> str:
    """The text of a pass's code, signed. The same pass on the same day under the same key is the same text."""
    days = (day - _EPOCH).days
    key_id = _id_of(private.public_key().public_bytes_raw())
    body = bytes((VERSION,)) + key_id + days.to_bytes(2, "big") + day_pass.encode()
    return PREFIX + _base32(body + private.sign(_signed(park, body)))


def is_signed(shown: str) -> bool:
    """Whether this is what a scanner reads off a pass, or else a bare code."""
    return len(shown) > LONGEST_CODE


def read_pass(text: str, park: str, day: date, keys: Iterable[PassKey]) -> str:
    """The pass's own id, of a text that is genuine, of this park and of this operating day.

    A scanner's line end and a keyboard's caps lock are forgiven. Raises PassNotGenuine, PassKeyUnknown, PassOfAnotherPark,
    PassExpired or PassNotYetValid. Whether the pass was replaced since is for the record to say.
    """
    body, signature = _parts(text.strip())
    known = [key for key in keys if key.id == body[1:5].hex()]
    if not known:
        raise PassKeyUnknown(
            f"No key that is known here signed this pass (its key is {body[1:5].hex()}): it is of another park, or newer than the keys of this device. Do not let it pass; fetch the pass keys anew and scan again, or send the player to the desk."
        )
    key = next((key for key in known if _holds(key, body, signature)), None)
    if key is None:
        raise _not_genuine("its signature does not hold")
    if key.park != park:
        raise PassOfAnotherPark(
            f"This is a pass of the park {key.park}, not of {park}. Send the player to the desk for a pass of this park."
        )
    _must_be_of_the_day(_EPOCH + timedelta(days=int.from_bytes(body[5:_HEAD], "big")), day, key)
    return _day_pass(body)


def fingerprint(day_pass: str) -> str:
    """SHA-256 of a pass's own id, in hex: so a list can be held against passes without holding them."""
    return sha256(day_pass.encode()).hexdigest()


def _parts(text: str) -> tuple[bytes, bytes]:
    """What was signed, and the signature. A text that is written otherwise than we write it is none of ours."""
    written = text.upper() if text.isascii() else text
    if not written.startswith(PREFIX):
        raise _not_genuine(f"it does not begin with {PREFIX}")
    digits = written.removeprefix(PREFIX)
    try:
        whole = b32decode(digits + "=" * (-len(digits) % 8))
    except ValueError:
        whole = b""
    if _base32(whole) != digits or not _HEAD + _SIGNATURE < len(whole) <= _HEAD + LONGEST_CODE + _SIGNATURE:
        raise _not_genuine("it was read wrong or in part, or is no pass")
    if whole[0] != VERSION:
        raise _not_genuine(f"it is of version {whole[0]}, and this program reads version {VERSION}")
    return whole[:-_SIGNATURE], whole[-_SIGNATURE:]


def _holds(key: PassKey, body: bytes, signature: bytes) -> bool:
    public = Ed25519PublicKey.from_public_bytes(b64decode(key.public_key, validate=True))
    try:
        public.verify(signature, _signed(key.park, body))
    except InvalidSignature:
        return False
    return True


def _must_be_of_the_day(of: date, day: date, key: PassKey) -> None:
    if of < day:
        raise PassExpired(
            f"This pass was for {of}; today is {day}. Send the player to the desk, where he is registered for today."
        )
    if of > day:
        raise PassNotYetValid(
            f"This pass is for {of}; today is {day}. Send the player to the desk, and have the day on this device looked at."
        )
    if of < key.from_day or (key.until_day is not None and of > key.until_day):
        raise _not_genuine(f"its key signs no passes of {of}")


def _day_pass(body: bytes) -> str:
    try:
        return msgspec.convert(body[_HEAD:].decode(), DayPass)
    except (UnicodeDecodeError, msgspec.ValidationError):
        raise _not_genuine("the code in it is none of this park's kind") from None


def _not_genuine(why: str) -> PassNotGenuine:
    return PassNotGenuine(
        f"This is no genuine pass: {why}. Wipe it and scan it once more; then ask the desk to look the player up by the armband and print the pass anew."
    )


def _signed(park: str, body: bytes) -> bytes:
    return b"fieldledger day pass 1\n" + park.encode() + b"\n" + body


def _id_of(public: bytes) -> bytes:
    return sha256(public).digest()[:4]


def _base32(whole: bytes) -> str:
    return b32encode(whole).decode().rstrip("=")
