"""Who the embedded servers run as, and what that account can reach.

PostgreSQL refuses to run as root, and a server should own no more than its data. Started by root, both servers
run as a system user of their own; started by anyone else, as that person.
"""

import os
import pwd
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

NAME = "fieldledger"


@dataclass(frozen=True)
class Account:
    uid: int
    gid: int

    @property
    def is_launcher(self) -> bool:
        return self.uid == os.geteuid()

    def enters(self, folder: Path) -> bool:
        """Whether this account may pass through `folder` and every folder above it."""
        real = folder.resolve()
        return self.is_launcher or all(self._may(0o1, step) for step in (real, *real.parents))

    def executes(self, program: Path) -> bool:
        """Whether this account can get to `program` and execute it."""
        real = program.resolve()
        return self.is_launcher or (self.enters(real.parent) and self._may(0o5, real))

    def _may(self, wanted: int, path: Path) -> bool:
        status = path.stat()
        shift = 6 if status.st_uid == self.uid else 3 if status.st_gid == self.gid else 0
        return (status.st_mode >> shift) & wanted == wanted

    def own(self, path: Path, mode: int) -> Path:
        """Give this account `path`, with exactly this mode. Only for paths whose folder is the launcher's."""
        if not self.is_launcher:
            os.chown(path, self.uid, self.gid, follow_symlinks=False)
        path.chmod(mode)
        return path


def server_account() -> Account:
    """The account for embedded servers: whoever started us, or a system user of their own if that is root."""
    if os.geteuid() != 0:
        return Account(os.geteuid(), os.getegid())
    entry = _named(NAME) or _created(NAME) or pwd.getpwnam("nobody")
    return Account(entry.pw_uid, entry.pw_gid)


def _named(name: str) -> pwd.struct_passwd | None:
    try:
        return pwd.getpwnam(name)
    except KeyError:
        return None


def _created(name: str) -> pwd.struct_passwd | None:
    useradd = shutil.which("useradd", path=f"{os.defpath}:/usr/sbin:/sbin")
    if useradd is None:
        return None
    options = ["--system", "--user-group", "--no-create-home", "--home-dir", "/nonexistent"]
    subprocess.run([useradd, *options, "--shell", "/usr/sbin/nologin", name], check=False)  # noqa: S603 - ours alone
    return _named(name)
