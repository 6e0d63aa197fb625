"""What is true of a log that was brought back from a backup: whether it is one of this log, and what is lost. Pure."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from msgspec import Struct

from contracts.catalogue import TYPES
from contracts.evidence import EpochBegun
from contracts.leaf import LeafError, decode, leaf_hash
from services.core.log import Head
from services.evidence.checkpoint import Checkpoint
from services.evidence.finding import on
from services.evidence.known import ahead
from services.evidence.roots import Frontier, Losses

_BEGUN = f'"type":"{TYPES[EpochBegun]}"'.encode()


class NotRestored(Exception):  # noqa: N818 - an answer, not a mistake
    """No new epoch is begun; the sentence says why."""


class Loss(Struct, frozen=True):
    """What is not in the log, as far as is known: positions `first` to `last` of the life before, and the epoch that follows on it."""

    epoch: int
    first: int
    last: int


class Prefix:
    """The leaves of a log that was brought back, held one after the other against every checkpoint that was signed."""

    def __init__(self, signed: Iterable[Checkpoint], epoch: int) -> None:
        self.agreed: Checkpoint | None = None
        """The largest checkpoint that the leaves bear out, up to where they part from a later life of the log."""
        self.parted = False
        """Whether they part from a life of the log after this one: the backup is older than a restore before."""
        self._epoch = epoch
        self._losses = Losses()
        self._contradicting: list[Checkpoint] = []
        self._frontier = Frontier()
        self._signed = defaultdict[int, list[Checkpoint]](list)
        for one in signed:
            self._signed[one.size].append(one)

    def take(self, leaf: bytes) -> None:
        """The next leaf."""
        self._frontier.add(leaf_hash(leaf))
        if _BEGUN in leaf:
            self._begin(leaf)
        for signed in self._signed.pop(self._frontier.size, ()):
            self._hold_against(signed)

    def _begin(self, leaf: bytes) -> None:
        """A restore before lost what this epoch's first event says, and leaves nothing to hold the checkpoints over it against."""
        try:
            begun = decode(leaf).data
        except LeafError:
            return
        if isinstance(begun, EpochBegun):
            self._losses.begin(begun.epoch, begun.lost_first)
            self._contradicting = [one for one in self._contradicting if not self._losses.cover(one.epoch, one.size)]

    def _hold_against(self, signed: Checkpoint) -> None:
        if self._losses.cover(signed.epoch, signed.size):
            return
        if signed.root == self._frontier.root:
            self.agreed = self.agreed if self.parted else signed
        elif signed.epoch > self._epoch:
            self.parted = True
        else:
            self._contradicting.append(signed)

    def end(self) -> None:
        """After the last leaf; raises NotRestored where they are not what was signed."""
        for signed in self._contradicting[:1]:
            raise NotRestored(
                f"The first {signed.size} events are not those that were signed on {on(signed.signed_at)}: this is no backup of "
                "the log, or it was changed. Nothing is begun on it. `fieldledger audit check` finds where; bring back another backup."
            )


def loss(head: Head, ends: Sequence[Head], prefix: Prefix) -> Loss | None:
    """What a log with this head has lost of what is known outside; None where that is nothing."""
    lost = [one for one in ends if ahead(one, head)]
    if not lost:
        return None
    last = max(1, *(one.position for one in lost))
    agreed = prefix.agreed.size if prefix.agreed else 0
    first = agreed + 1 if prefix.parted else head.position + 1
    return Loss(1 + max(one.epoch for one in lost), min(first, last), last)
