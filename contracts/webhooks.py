"""How a letter to a webhook is signed: the open Standard Webhooks form. Whoever receives one checks it with `contracts.client.webhooks`."""

import hmac
from base64 import b64decode, b64encode
from hashlib import sha256
from typing import Final

ID: Final = "webhook-id"
TIMESTAMP: Final = "webhook-timestamp"
SIGNATURE: Final = "webhook-signature"
PREFIX: Final = "whsec_"
"""Marks a secret: what follows is its bytes in base64."""
SECRET_BYTES: Final = 32
TOLERANCE: Final = 300
"""Seconds that a letter's timestamp may be off a receiver's clock."""


def secret_text(secret: bytes) -> str:
    """A secret as it is shown."""
    return PREFIX + b64encode(secret).decode()


def signature(secret: str, identity: str, timestamp: int, body: bytes) -> str:
    """`v1,` and the HMAC-SHA-256 over `<id>.<timestamp>.<body>` in base64. Raises ValueError for what is no secret."""
    key = b64decode(secret.removeprefix(PREFIX), validate=True)
    signed = b"%s.%d.%s" % (identity.encode(), timestamp, body)
    return "v1," + b64encode(hmac.digest(key, signed, sha256)).decode()
