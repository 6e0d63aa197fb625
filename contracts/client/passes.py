"""Day passes without the network: what a scanner reads is held against the park's public keys, kept from the last time the park was heard."""

import os
from datetime import date
from pathlib import Path

import msgspec

from contracts.passes import PassKeys, read_pass


def verify(text: str, known: PassKeys, day: date) -> str:
    """The pass's own code, of a genuine pass of this park and operating day: today's at the park, whenever the keys were kept.

    Raises PassNotGenuine, PassKeyUnknown, PassOfAnotherPark, PassExpired or PassNotYetValid, of `contracts.problems`. It clears nobody: whether
    he may enter, and whether his pass was replaced, only the record knows.
    """
    return read_pass(text, known.park, day, known.keys)


def keep(path: str | os.PathLike[str], known: PassKeys) -> None:
    """Keep the keys for when the network is away."""
    draft = Path(path).with_name(f"{Path(path).name}.{os.getpid()}")
    draft.write_bytes(msgspec.json.encode(known))
    draft.replace(path)


def kept(path: str | os.PathLike[str]) -> PassKeys:
    """The keys that were kept."""
    return msgspec.json.decode(Path(path).read_bytes(), type=PassKeys)
