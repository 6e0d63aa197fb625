"""What the vault keeps outside the database: the park's master key, and the ledger of erasures that outlives every backup.

`vault-<park>.key` holds the key in hex: without a copy of it elsewhere, its loss loses the vault. `erasures-<park>.txt` has a line for
each erasure: when, whom, and the id of the event that granted it. Nothing is ever taken out of either.
"""

import os
import secrets
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from uuid import UUID

from contracts.problems import Unavailable
from services.core import durable
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
    """The vault's files of one park, in a folder that only the service's account can enter. Every method raises VaultClosed."""

    def __init__(self, folder: Path, park: str) -> None:
        self.master = folder / f"vault-{park}.key"
        self.ledger = folder / f"erasures-{park}.txt"

    def master_key(self) -> MasterKey | None:
        """The park's master key, or None where there is none yet."""
        with _usable(self.master):
            if not self.master.exists():
                return None
            written = self.master.read_bytes()
        try:
            secret = bytes.fromhex(written.decode("ascii"))
        except ValueError:
            secret = b""
        if len(secret) != KEY:
            raise VaultClosed(
                f"{self.master.name} holds no key of {KEY} bytes in hex. Put back the copy that was made of it."
            )
        return MasterKey(secret)

    def make_master_key(self) -> None:
        """Make the park's master key, unless there is one. Of two processes that make one at once, the first one's stands."""
        fresh = self.master.with_name(f"{self.master.name}.{secrets.token_hex(4)}")
        with _usable(self.master):
            durable.append(fresh, f"{secrets.token_bytes(KEY).hex()}\n".encode())
            with suppress(FileExistsError):
                os.link(fresh, self.master)
            fresh.unlink()
            durable.sync(self.master.parent)

    def erasures(self) -> dict[str, Erasure]:
        """Every erasure in the ledger. A last line without its end was broken off, and is none."""
        with _usable(self.ledger):
            whole, _, _ = self._written().rpartition(b"\n")
        found = [self._erasure(number, line) for number, line in enumerate(whole.split(b"\n"), 1) if line]
        return {one.person: one for one in found}

    def _written(self) -> bytes:
        return self.ledger.read_bytes() if self.ledger.exists() else b""

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
        with _usable(self.ledger):
            written = self._written()
            if not written.endswith(b"\n") and written:  # broken off: its event is in the log, and comes again
                os.truncate(self.ledger, written.rfind(b"\n") + 1)
            durable.append(self.ledger, lines.encode())


@contextmanager
def _usable(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise VaultClosed(
            f"{path} cannot be used ({error.strerror}). Make it so; nothing is opened until then."
        ) from error
