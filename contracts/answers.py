"""What the API answers: receipts of writes, and problems."""

from datetime import datetime
from typing import Any
from uuid import UUID

from msgspec import Struct


class ReceiptEvent(Struct, frozen=True, kw_only=True):
    """One event of a write, with the hash of its leaf: keep it, and nobody can deny it later."""

    id: UUID
    type: str
    position: int
    leaf_sha256: str
    data: Any


class Receipt(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A write was recorded, durably, before this was sent. `repeat`: it had been before, and this is its first answer.

    `first` is there where somebody may be hurt: what comes before any record.
    """

    park: str
    epoch: int
    position: int
    recorded_at: datetime
    repeat: bool
    events: tuple[ReceiptEvent, ...]
    first: str = ""
    secret: str = ""
    """What is shown this once and never again; whoever has lost it asks for another."""


class Problem(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """RFC 9457. `refusal` is there when the refusal was itself recorded, with its receipt; `first` where somebody may be hurt: what comes before any record."""

    type: str
    title: str
    status: int
    detail: str
    instance: str = ""
    refusal: Any = None
    receipt: Receipt | None = None
    where: str = ""
    first: str = ""
    resume: str = ""
    """Where to go on, where a restore has cut off what was asked for: `<epoch>:<position>`."""
