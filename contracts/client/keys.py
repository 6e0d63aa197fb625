"""A device's key on its disk: a file that only its own account can read."""

import os
from pathlib import Path

import msgspec
from msgspec import Struct


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
    """Where a key is to lie, taken before the code is spent: a folder that cannot be written to costs no code."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self._path = Path(path)
        if self._path.exists():
            raise FileExistsError(f"{self._path} holds a key already. Remove it to enrol anew, or open it.")
        self._draft = self._path.with_name(f"{self._path.name}.{os.getpid()}")
        self._file = os.open(self._draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)

    def keep(self, key: DeviceKey) -> None:
        """On disk, whole, before this returns."""
        os.write(self._file, msgspec.json.format(msgspec.json.encode(key), indent=1) + b"\n")
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
