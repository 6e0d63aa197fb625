"""The leaves of a log as they stand now, held against the stored tree and against every checkpoint that was signed."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Literal

from msgspec import Struct

from services.evidence.finding import Finding, on
from services.evidence.tree import EMPTY, SIZE, node_hash

_LOST = bytes(SIZE)
"""Stands for a leaf of which nothing is left."""
TILE = 256
"""Hashes in a whole tile."""
_NAMED = 1000
"""Positions, at most, that wait for the checkpoint that decides about them; of the others there is only the number."""


class Signed(Struct, frozen=True):
    """A checkpoint whose signature holds: the first `size` leaves had this root."""

    epoch: int
    size: int
    root: bytes
    signed_at: datetime

    @property
    def name(self) -> str:
        return f"the checkpoint over the first {self.size} events, signed on {on(self.signed_at)}"


class Frontier:
    """The root over leaves that come one by one: it keeps only the full subtrees side by side."""

    def __init__(self, size: int = 0, peaks: Sequence[bytes] = ()) -> None:
        self.size = size
        self._peaks = list(peaks)

    def add(self, leaf_hash: bytes) -> None:
        self.size += 1
        size, peaks = self.size, self._peaks
        while size % 2 == 0:
            leaf_hash = node_hash(peaks.pop(), leaf_hash)
            size //= 2
        peaks.append(leaf_hash)

    @property
    def root(self) -> bytes:
        if not self._peaks:
            return EMPTY
        *left, root = self._peaks
        for peak in reversed(left):
            root = node_hash(peak, root)
        return root

    def copy(self) -> "Frontier":
        return Frontier(self.size, self._peaks)


class Losses:
    """What the log says that its restores lost, in the first event of each epoch."""

    def __init__(self) -> None:
        self._begun: list[tuple[int, int]] = []

    def begin(self, epoch: int, lost_first: int) -> None:
        """An epoch begins; of the ones before it all is lost from that position on."""
        self._begun.append((epoch, lost_first))

    def cover(self, epoch: int, size: int) -> bool:
        """Whether some of what a checkpoint of that epoch covers was lost: nothing is left to hold it against."""
        return any(epoch < begun and lost_first <= size for begun, lost_first in self._begun)


class Roots:
    """Follows the log, leaf by leaf, along checkpoints in the order of their sizes."""

    def __init__(self, signed: Sequence[Signed]) -> None:
        self.agreeing = 0
        """Checkpoints that the leaves, or else the stored tree, bear out."""
        self.agreed: Signed | None = None
        """The largest of them."""
        self.superseded: list[Signed] = []
        """Checkpoints over events that a restore lost: nothing is left to hold them against."""
        self._pending = sorted(signed, key=lambda one: one.size, reverse=True)
        self._leaves = self._stored = Frontier()
        self._apart: list[int] = []
        self._lacking: list[int] = []
        self._lacked: list[int] = []
        self._unnamed = 0
        self._losses = Losses()
        self._contradicting: list[Signed] = []
        self._overtaken: list[tuple[Signed, Signed]] = []
        """Each of them that a later one of the same log gives the lie, with that one."""

    def begin(self, epoch: int, lost_first: int) -> None:
        """The log says at the next position that an epoch begins there, and from where on a restore lost the one before."""
        self._losses.begin(epoch, lost_first)
        self.superseded += [one for one in self._contradicting if self._lost(one)]
        self.superseded += [one for one, _ in self._overtaken if self._lost(one)]
        self._contradicting = [one for one in self._contradicting if not self._lost(one)]
        self._overtaken = [pair for pair in self._overtaken if not self._lost(pair[0])]

    def _lost(self, signed: Signed) -> bool:
        return self._losses.cover(signed.epoch, signed.size)

    def take(self, leaf: bytes | None, stored: bytes | None) -> Iterator[Finding]:
        """The next position: the hash of its leaf, where there is one, and the hash that the tree has stored."""
        position = self._leaves.size + 1
        hashed = leaf or stored or _LOST
        kept = stored or hashed
        if stored is None:
            self._lacking = [*self._lacking[:1], position]
        if kept != hashed:
            self._differ(position)
        self._leaves.add(hashed)
        if self._stored is not self._leaves:
            self._stored.add(kept)
        while self._pending and self._pending[-1].size <= position:
            yield from self._hold_against(self._pending.pop())

    def _differ(self, position: int) -> None:
        if self._stored is self._leaves:
            self._stored = self._leaves.copy()
        if len(self._apart) < _NAMED:
            self._apart.append(position)
        else:
            self._unnamed += 1

    def _hold_against(self, signed: Signed) -> Iterator[Finding]:
        if self._lost(signed):
            self.superseded.append(signed)
        elif self._leaves.root == signed.root:
            yield from self._settle(
                signed, "tree", "the tree's stored hash is not that of the recorded bytes, which are those"
            )
        elif self._stored.root == signed.root:
            yield from self._settle(signed, "bytes", "the recorded bytes are not those")
        else:
            self._contradicting.append(signed)

    def _settle(self, signed: Signed, kind: Literal["tree", "bytes"], what: str) -> Iterator[Finding]:
        """A checkpoint that is borne out decides who is right at each position below it, and that those it overtakes are false."""
        yield from self._name(kind, f"{what} that were signed on {on(signed.signed_at)}")
        self._overtaken += ((other, signed) for other in self._contradicting)
        self._contradicting.clear()
        self._lacked = [*self._lacked[:1], *self._lacking] if self._lacking else self._lacked
        self._lacking = []
        self.agreeing += 1
        self.agreed = signed

    def _name(self, kind: Literal["tree", "bytes"], what: str) -> Iterator[Finding]:
        for position in self._apart:
            yield Finding(kind, position, f"Position {position}: {what}.")
        if self._unnamed:
            yield Finding(kind, self._apart[-1], f"{self._unnamed} positions more after {self._apart[-1]}: {what}.")
        self._apart.clear()
        self._unnamed = 0

    def end(self) -> Iterator[Finding]:
        """After the last position."""
        for other, signed in self._overtaken:
            what = f"{other.name}, is not of this log: {signed.name}, is. That checkpoint was exchanged"
            yield Finding("checkpoint", other.size, f"Position {other.size}: {what}.")
        if self._contradicting:
            first, after = self._contradicting[0], self.agreed.size if self.agreed else 0
            since = f"agrees with what was signed up to position {after}" if after else "agrees with no checkpoint"
            what = f"the record {since}, but not with {first.name}: what stands here was changed, or that checkpoint is false"
            yield Finding("range", after + 1, f"Positions {after + 1} to {first.size}: {what}.", last=first.size)
        yield from self._name(
            "bytes", "the recorded bytes are not those in the stored tree, and no checkpoint bears out either"
        )
        if self._lacked:
            begins, ends = self._lacked[0], self._lacked[-1]
            what = "the stored tree lacks hashes of events that were signed"
            yield Finding("tree", begins, f"Positions {begins} to {ends}: {what}.", last=ends)
        for signed in reversed(self._pending):
            if self._lost(signed):
                self.superseded.append(signed)
            else:
                end = self._leaves.size
                sentence = (
                    f"Position {end}: the log ends here, but {signed.name}, reaches further. The log was truncated."
                )
                yield Finding("truncated", end, sentence)
