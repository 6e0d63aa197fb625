"""What the vault keeps outside the database: the park's master key, and the ledger of erasures that outlives every backup."""

import os
import secrets
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from uuid import UUID

from contracts.problems import Unavailable
from services.vault.sealing import KEY, MasterKey
from services.vault.states import Erasure


class VaultClosed(Unavailable):
    """What lies outside cannot be used; the sentence says which file, and what to do."""

    def __init__(self, sentence: str) -> None:
        super().__init__(f"The vault is closed: {sentence}")

    @classmethod
    def type_uri(cls) -> str:
        return Unavailable.type_uri()


class Outside:
    """The vault's files of one park in the folder that only the service's account can enter."""

    def __init__(self, folder: Path, park: str) -> None:
        self.master = folder / f"vault-{park}.key"
        self.ledger = folder / f"erasures-{park}.txt"

    def master_key(self) -> MasterKey | None:
        """The park's master key, or None where there is none yet; raises VaultClosed when its file holds no key."""
        try:
            return MasterKey(_key(self.master))
        except FileNotFoundError:
            return None

    def make_master_key(self) -> MasterKey:
        """The park's master key, made if there is none. Of two processes that make one at once, both use the first."""
        fresh = self.master.with_name(f"{self.master.name}.{secrets.token_hex(4)}")
        _append(fresh, f"{secrets.token_bytes(KEY).hex()}\n".encode())
        try:
            os.link(fresh, self.master)
        except FileExistsError:
            pass
        finally:
            fresh.unlink()
        _sync_folder(self.master)
        return MasterKey(_key(self.master))

    def erasures(self) -> dict[str, Erasure]:
        """Every erasure in the ledger. A last line without its end was broken off, and is none; other lines that are none raise VaultClosed."""
        try:
            whole, _, _ = self.ledger.read_bytes().rpartition(b"\n")
        except FileNotFoundError:
            return {}
        found = [self._erasure(number, line) for number, line in enumerate(whole.split(b"\n"), 1) if line]
        return {one.person: one for one in found}

    def _erasure(self, number: int, line: bytes) -> Erasure:
        try:
            at, person, event = line.decode().split(" ")
            return Erasure(person, UUID(event), datetime.fromisoformat(at))
        except ValueError:
            raise VaultClosed(
                f"Line {number} of {self.ledger.name} is no erasure. Put back a copy of that file in which it is one."
            ) from None

    def record(self, erasures: Iterable[Erasure]) -> None:
        """Add erasures to the ledger, durably."""
        lines = "".join(f"{one.at.isoformat()} {one.person} {one.id}\n" for one in erasures)
        if not lines:
            return
        self._cut_broken_line()
        _append(self.ledger, lines.encode())
        _sync_folder(self.ledger)

    def _cut_broken_line(self) -> None:
        try:
            written = self.ledger.read_bytes()
        except FileNotFoundError:
            return
        if not written.endswith(b"\n"):
            os.truncate(self.ledger, written.rfind(b"\n") + 1)


def _key(path: Path) -> bytes:
    try:
        key = bytes.fromhex(path.read_text(encoding="ascii"))
    except ValueError:
        key = b""
    if len(key) != KEY:
        raise VaultClosed(f"{path.name} holds no key of {KEY} bytes in hex. Put back the copy that was made of it.")
    return key


def _append(path: Path, content: bytes) -> None:
    """Add to a file that nobody else can read, durably."""
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "ab") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _sync_folder(path: Path) -> None:
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
