"""A device's key on its disk: a file that only its own account can read."""

import os
from errno import ENOSPC
from pathlib import Path
from typing import Final

import msgspec
from msgspec import Struct

ROOM: Final = 4096
"""Bytes that are taken for a key before there is one."""


class Unsafe(Exception):  # noqa: N818 - a state of the world, not a mistake
    """The file with the key can be read by others."""


class DeviceKey(Struct, frozen=True, kw_only=True):
    """What a device needs to speak to its park. `key` opens the park for whoever has it."""

    url: str
    park: str
    device: str
    key: str
    roles: tuple[str, ...] = ()
    station: str | None = None


class Place:
    """Where a key is to lie, taken before the code is spent: a folder that cannot be written to, or a full disk, costs no code."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self._path = Path(path)
        if self._path.exists():
            raise FileExistsError(f"{self._path} holds a key already. Remove it to enrol anew, or open it.")
        self._draft = self._path.with_name(f"{self._path.name}.{os.getpid()}")
        self._draft.unlink(missing_ok=True)  # of a process that was cut off, under a number that is ours by now
        self._file = os.open(self._draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
        try:
            os.posix_fallocate(self._file, 0, ROOM)
        except OSError:
            self.close()
            raise

    def keep(self, key: DeviceKey) -> None:
        """On disk, whole, before this returns."""
        content = msgspec.json.format(msgspec.json.encode(key), indent=1) + b"\n"
        if os.write(self._file, content) < len(content):
            raise OSError(ENOSPC, os.strerror(ENOSPC), os.fspath(self._draft))
        os.ftruncate(self._file, len(content))
        os.fsync(self._file)
        self._draft.rename(self._path)
        folder = os.open(self._path.parent, os.O_RDONLY)
        os.fsync(folder)
        os.close(folder)

    def close(self) -> None:
        """Nothing is left of a place that was not used."""
        os.close(self._file)
        self._draft.unlink(missing_ok=True)


def read_key(path: str | os.PathLike[str]) -> DeviceKey:
    """A key that was kept; raises Unsafe where others could have read it."""
    if Path(path).stat().st_mode & 0o077:
        raise Unsafe(
            f"{path} can be read by others. Take that away (chmod 600), and have the device enrolled anew if others use this machine."
        )
    return msgspec.json.decode(Path(path).read_bytes(), type=DeviceKey)
