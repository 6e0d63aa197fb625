"""Which keys were revoked or replaced, beside the database: a backup that is brought back from before that brings no lost tablet back to life."""

import asyncio
from pathlib import Path

import structlog

from services.core import durable
from services.core.auth import Devices

log = structlog.get_logger()


class Revocations:
    """The list of one park: a line a key, with its device and the hash of its secret, so that a key made since is another."""

    def __init__(self, folder: Path, park: str) -> None:
        self.park = park
        self.path = folder / f"revoked-{park}.txt"

    def record(self, device: str, secret_hash: bytes) -> None:
        """Add a key, durably. What cannot be written is logged: it does not keep the key alive."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            durable.append(
                self.path, f"\n{device} {secret_hash.hex()}\n".encode()
            )  # a line that broke off takes none with it
        except OSError as error:
            log.warning("revocation not kept outside the database", park=self.park, device=device, error=repr(error))

    def every(self) -> list[tuple[str, bytes]]:
        """Every key of the list; a line that was broken off is none."""
        lines = self.path.read_text(encoding="utf-8").splitlines() if self.path.exists() else []
        found = []
        for line in lines:
            device, _, secret_hash = line.partition(" ")
            if len(secret_hash) == 64 and set(secret_hash) <= set("0123456789abcdef"):
                found.append((device, bytes.fromhex(secret_hash)))
        return found


async def revoke_again(devices: Devices, revocations: Revocations) -> None:
    """Carry out anew what the list says and the database no longer knows."""
    keys = await asyncio.to_thread(revocations.every)
    for device in await devices.revoke_keys(revocations.park, keys):
        log.warning("revoked again after a restore", park=revocations.park, device=device)
