"""The receiver's side of a webhook: whether a letter is the park's, of now, and whole. The headers are those of the open Standard Webhooks form."""

import hmac
from base64 import b64decode
from binascii import Error
from collections.abc import Mapping
from datetime import datetime
from typing import ClassVar, Final

import msgspec

from contracts.client.clock import SystemClock
from contracts.client.following import ParkEvent
from contracts.webhooks import ID, PREFIX, SIGNATURE, TIMESTAMP, TOLERANCE, signature

SHORTEST: Final = 24
"""Bytes of the shortest secret of the form."""


class LetterRefused(Exception):  # noqa: N818 - it is no error of ours
    """A letter is not taken. Answer 4xx, and do nothing that it says."""

    title: ClassVar[str] = "The letter was refused"
    remedy: ClassVar[str] = ""

    def __init__(self, detail: str) -> None:
        super().__init__(detail)
        self.detail = detail

    @classmethod
    def type_uri(cls) -> str:
        words = "".join(f"-{letter.lower()}" if letter.isupper() else letter for letter in cls.__name__)
        return f"/problems/{words.strip('-')}"


class LetterHeaderMissing(LetterRefused):
    title = "A header of the letter is missing or does not fit"
    remedy = "It is no letter of the park's, or something between has taken its headers away."


class LetterNotGenuine(LetterRefused):
    title = "The letter's signature does not hold"
    remedy = "It was changed on its way, is of another park, or was signed under another secret: open the webhook anew if the secret may be known to others."


class LetterTooOld(LetterRefused):
    title = "The letter was sent too long ago"
    remedy = (
        "It may be a copy that somebody kept. The park signs each try anew; set this machine's clock if it is wrong."
    )


class LetterFromTheFuture(LetterRefused):
    title = "The letter was sent later than it is now"
    remedy = "Set this machine's clock; the park sends the letter again."


def verify(secret: str, headers: Mapping[str, str], body: bytes, now: datetime | None = None) -> tuple[ParkEvent, ...]:
    """The events of a letter of the park's. `body` is its bytes as they came; `now` is this machine's clock where none is given. Several signatures may stand in its header, one of which must hold; those of other versions are passed over.

    The same letter may come again under the same `webhook-id`: keep the ids, and drop what you have. Raises a `LetterRefused`, and ValueError for a secret that is none.
    """
    found = {name.lower(): value for name, value in headers.items()}
    identity, sent, given = (_header(found, name) for name in (ID, TIMESTAMP, SIGNATURE))
    if not sent.isascii() or not sent.isdecimal() or len(sent) > 12:
        raise LetterHeaderMissing(f"{TIMESTAMP} is no number of seconds since 1970.")
    right = signature(_checked(secret), identity, int(sent), body)
    if not any(hmac.compare_digest(right.encode(), one.encode()) for one in given.split(" ")):
        raise LetterNotGenuine("No signature of the letter holds under this secret. Nothing of it is believed.")
    age = (now or SystemClock().now()).timestamp() - int(sent)
    if age > TOLERANCE:
        raise LetterTooOld(f"The letter was sent {age:.0f} s ago; {TOLERANCE} are allowed.")
    if age < -TOLERANCE:
        raise LetterFromTheFuture(f"The letter says that it was sent in {-age:.0f} s; {TOLERANCE} are allowed.")
    try:
        return msgspec.json.decode(body, type=tuple[ParkEvent, ...])
    except msgspec.MsgspecError as error:
        raise LetterNotGenuine(f"The letter is signed, and holds no events: {error}.") from error


def _header(headers: Mapping[str, str], name: str) -> str:
    value = headers.get(name, "")
    if not value:
        raise LetterHeaderMissing(f"The header {name} is missing.")
    return value


def _checked(secret: str) -> str:
    """Raises ValueError for what cannot be a secret: an empty one would let anybody sign."""
    try:
        length = len(b64decode(secret.removeprefix(PREFIX), validate=True))
    except Error:
        length = 0
    if length < SHORTEST:
        raise ValueError(
            f"A webhook's secret is {PREFIX} and at least {SHORTEST} bytes in base64, as it was shown when the webhook was opened."
        )
    return secret
