"""Files that must not be lost: what was written lies on the disk before anybody is told."""

import os
from pathlib import Path


def append(path: Path, content: bytes, mode: int = 0o600) -> None:
    """Write at the end and wait until it lies on the disk; a file that is new has this mode from the first moment."""
    new = not path.exists()
    descriptor = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, mode)
    try:
        while content:
            content = content[os.write(descriptor, content) :]
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    if new:
        sync(path.parent)


def sync(folder: Path) -> None:
    """Wait until the names in a folder lie on the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
