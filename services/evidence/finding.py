"""A finding: one way in which the record is not what it should be, in a sentence for a person who has to answer for it."""

from datetime import UTC, datetime
from typing import Literal

from msgspec import Struct

Kind = Literal[
    "missing",  # no event at a position
    "repeated",  # two events at a position, or with one id
    "unreadable",  # bytes that are no leaf
    "column",  # a column that is not what the leaf says
    "order",  # time or epoch goes back
    "tag",  # the index by tag
    "request",  # what was asked for, and where its events lie
    "head",  # where the log says that it ends
    "bytes",  # a leaf that is not the one that was signed
    "tree",  # the stored tree, which can be made again
    "range",  # somewhere between two checkpoints
    "checkpoint",  # a checkpoint that cannot be true, or is not kept in both places
    "key",  # a key that nobody adopted
    "truncated",  # what was signed reaches beyond the log
]


class Finding(Struct, frozen=True, omit_defaults=True):
    """What is wrong, and where: the first position concerned (0 where it is none in particular), the last, and the tag."""

    kind: Kind
    position: int
    sentence: str
    last: int | None = None
    tag: str | None = None


def on(moment: datetime) -> str:
    """A moment as it stands in a sentence."""
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
