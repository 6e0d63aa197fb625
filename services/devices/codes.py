"""The codes of invitations: ten characters that one person reads to another, by a wet tablet, and only their hash is kept.

Crockford's base32 leaves out I, L, O and U: read aloud or typed, I and L are taken for 1 and O for 0. Ten characters are 50 bits; with ten
tries a minute from one place, in the quarter of an hour that a code works, nobody guesses one.
"""

import hmac
import secrets
from hashlib import sha256
from typing import Final

ALPHABET: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LENGTH: Final = 10
_FORGIVEN: Final = str.maketrans("ILO", "110", " -")


def new_code() -> str:
    """A code in two groups of five, such as K7QF3-M2W9T."""
    made = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
    return f"{made[:5]}-{made[5:]}"


def plain(code: str) -> str:
    """The ten characters that were meant."""
    return code.upper().translate(_FORGIVEN)


def code_hash(park: str, code: str) -> bytes:
    """What is kept of a code; keyed with the park, so that a code of one park is none of another."""
    return hmac.digest(f"{park} invitation".encode(), plain(code).encode(), sha256)
