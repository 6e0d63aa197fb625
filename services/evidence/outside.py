"""What lies outside the database, in a folder that only this account can read: the signing keys, and every checkpoint that was signed.

`signing-<park>.json` holds the keys, the current one last; `keys-<park>.txt` their public halves, a line each, to be handed on;
`checkpoints-<park>.txt` the signed notes in the order of signing, each followed by a line of equals signs. Nothing is ever taken
out. Copies of the folder belong on another machine: with it, whoever exchanges the database is found out.
"""

import os
import re
from base64 import b64decode, b64encode
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec
from msgspec import Struct

from services.core import durable
from services.evidence.note import SigningKey

SEPARATOR = b"=" * 16 + b"\n"
_TAIL = 64 * 1024
"""Bytes in which the last note certainly lies."""


class OutsideUnusable(Exception):  # noqa: N818 - a state of the world, not a mistake
    """The folder outside the database cannot be read or written, or holds what nobody can read."""


class _Kept(Struct, frozen=True):
    name: str
    seed: str


class Outside:
    """One park's part of the folder. Whoever writes has made sure to be the only one."""

    def __init__(self, folder: Path, park: str) -> None:
        self._signing = folder / f"signing-{park}.json"
        self._public = folder / f"keys-{park}.txt"
        self._checkpoints = folder / f"checkpoints-{park}.txt"

    def keys(self) -> tuple[SigningKey, ...]:
        """Every key that ever signed, the current one last."""
        with _told(self._signing):
            if not self._signing.exists():
                return ()
            kept = msgspec.json.decode(self._signing.read_bytes(), type=list[_Kept])
            return tuple(SigningKey(one.name, b64decode(one.seed, validate=True)) for one in kept)

    def add_key(self, key: SigningKey) -> None:
        """Make a key the current one, durably. Its public half is written first: no key signs that is not on that list."""
        keys = [*self.keys(), key]
        kept = [_Kept(one.name, b64encode(one.seed).decode()) for one in keys]
        with _told(self._public):
            durable.append(self._public, f"{key.verifier.text}\n".encode(), 0o644)
        with _told(self._signing):
            fresh = self._signing.with_suffix(".new")
            fresh.unlink(missing_ok=True)
            durable.append(fresh, msgspec.json.format(msgspec.json.encode(kept), indent=1) + b"\n")
            fresh.replace(self._signing)
            durable.sync(self._signing.parent)

    def public_keys(self) -> tuple[str, ...]:
        """The texts of every key that ever signed, the oldest first."""
        with _told(self._public):
            return tuple(self._public.read_text().splitlines()) if self._public.exists() else ()

    def last(self) -> str | None:
        """The newest note."""
        with _told(self._checkpoints):
            _, tail = self._tail()
            whole = tail.split(SEPARATOR)[:-1]
            return whole[-1].decode() if whole else None

    def notes(self) -> tuple[str, ...]:
        """Every note, the oldest first."""
        with _told(self._checkpoints):
            if not self._checkpoints.exists():
                return ()
            return tuple(one.decode() for one in self._checkpoints.read_bytes().split(SEPARATOR)[:-1])

    def append(self, note: str) -> None:
        """Keep a note, durably. What a crash cut short at the end was never signed for anybody, and goes."""
        with _told(self._checkpoints):
            begins, tail = self._tail()
            torn = tail.rpartition(SEPARATOR)[2]
            if torn:
                os.truncate(self._checkpoints, begins + len(tail) - len(torn))
            durable.append(self._checkpoints, note.encode() + SEPARATOR, 0o644)

    def _tail(self) -> tuple[int, bytes]:
        """The end of the checkpoints, and where in the file it begins."""
        if not self._checkpoints.exists():
            return 0, b""
        with self._checkpoints.open("rb") as file:
            begins = file.seek(max(0, self._checkpoints.stat().st_size - _TAIL))
            return begins, file.read()


def parks(folder: Path) -> set[str]:
    """The parks that the folder holds keys or checkpoints of."""
    kept = (re.fullmatch(r"(?:keys|checkpoints)-(.+)\.txt", path.name) for path in folder.glob("*.txt"))
    return {one[1] for one in kept if one}


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise OutsideUnusable(
            f"{path} cannot be used ({error.strerror}). Make it so; nothing is signed until then."
        ) from error
    except (ValueError, msgspec.MsgspecError) as error:
        raise OutsideUnusable(f"{path} holds what is not ours: {error}. Put back what was there.") from error
