"""The server programs inside installed wheels, at a place the servers' account can reach."""

import shutil
import tempfile
from importlib import metadata
from pathlib import Path

from deploy.account import Account

SYSTEM_FOLDER = Path("/var/lib/fieldledger")


def program(wheel: str, name: str, account: Account) -> Path:
    """The program `name` that `wheel` installed, or a copy of the wheel's files where the account can run it.

    A checkout may lie where only root may enter. Opening the folders above it would expose everything else in them.
    """
    distribution = metadata.distribution(wheel)
    files = distribution.files or []
    entry = next(file for file in files if file.parts[-2:] == ("bin", name))
    original = Path(str(entry.locate())).resolve()
    if account.executes(original):
        return original
    home = SYSTEM_FOLDER / f"{wheel}-{distribution.version}"
    if not home.is_dir():
        _copy(files, home)
    return _inside(home, entry)


def system_folder() -> Path:
    """A folder of root's that everyone may enter, for what cannot stay below the checkout."""
    if not SYSTEM_FOLDER.is_dir():
        SYSTEM_FOLDER.mkdir(parents=True)
        SYSTEM_FOLDER.chmod(0o755)
    return SYSTEM_FOLDER


def _copy(files: list[metadata.PackagePath], home: Path) -> None:
    """Copy under another name first: a killed launcher leaves no half a server behind."""
    growing = Path(tempfile.mkdtemp(prefix=f"{home.name}-", dir=system_folder()))
    for file in files:
        original, copy = Path(str(file.locate())), _inside(growing, file)
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(original, copy)
        copy.chmod(0o755 if original.stat().st_mode & 0o100 else 0o644)
    for folder in (growing, *(path for path in growing.rglob("*") if path.is_dir())):
        folder.chmod(0o755)
    growing.rename(home)


def _inside(home: Path, file: metadata.PackagePath) -> Path:
    return home.joinpath(*(part for part in file.parts if part != ".."))
