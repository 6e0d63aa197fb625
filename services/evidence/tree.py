"""The Merkle tree over a log's leaves, and its proofs: RFC 9162 §2.1 with SHA-256.

A node is named (level, index): it stands over the leaves index·2^level up to (index+1)·2^level, of which none may be missing.
"""

from collections.abc import Callable, Iterator, Sequence
from hashlib import sha256

Nodes = Callable[[int, int], bytes]
"""Gives the hash of the full subtree (level, index); at level 0 that of a leaf."""
EMPTY = sha256(b"").digest()
"""The root of no leaves."""
SIZE = 32


class ProofError(ValueError):
    """A proof does not show what it is said to show."""


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash over two subtrees, 32 bytes (§2.1.1)."""
    return sha256(b"\x01" + left + right).digest()


def parents(hashes: Sequence[bytes]) -> list[bytes]:
    """The nodes one level up: one for each whole pair."""
    return [sha256(b"\x01" + left + right).digest() for left, right in zip(hashes[::2], hashes[1::2], strict=False)]


def root(hashes: Sequence[bytes]) -> bytes:
    """The root over all these leaf hashes (§2.1.1)."""
    if not hashes:
        return EMPTY
    while len(hashes) > 1:
        lone = hashes[-1:] if len(hashes) % 2 else ()
        hashes = [*parents(hashes), *lone]
    return hashes[0]


def root_at(nodes: Nodes, size: int) -> bytes:
    """The root over the first `size` leaves."""
    return _over(nodes, 0, size) if size else EMPTY


def inclusion_proof(nodes: Nodes, index: int, size: int) -> list[bytes]:
    """The hashes that lead from leaf `index` (counted from 0) to the root over `size` leaves, lowest first (§2.1.3.1).

    Raises ProofError when the tree has no such leaf.
    """
    if not 0 <= index < size:
        raise ProofError(f"Leaf {index} lies outside a tree of {size} leaves.")
    return _path(nodes, index, 0, size)


def _path(nodes: Nodes, index: int, first: int, end: int) -> list[bytes]:
    if end - first == 1:
        return []
    middle = first + _largest_power_below(end - first)
    if index < middle:
        return [*_path(nodes, index, first, middle), _over(nodes, middle, end)]
    return [*_path(nodes, index, middle, end), _over(nodes, first, middle)]


def consistency_proof(nodes: Nodes, first: int, second: int) -> list[bytes]:
    """The hashes that show that the tree of `second` leaves begins with that of `first` (§2.1.4.1); none where there is nothing to show.

    Raises ProofError unless 0 ≤ first ≤ second.
    """
    if not 0 <= first <= second:
        raise ProofError(f"A tree of {second} leaves does not begin with one of {first}.")
    return _common(nodes, first, 0, second) if first else []


def _common(nodes: Nodes, size: int, first: int, end: int) -> list[bytes]:
    if size == end:
        return [] if first == 0 else [_over(nodes, first, end)]
    middle = first + _largest_power_below(end - first)
    if size <= middle:
        return [*_common(nodes, size, first, middle), _over(nodes, middle, end)]
    return [*_common(nodes, size, middle, end), _over(nodes, first, middle)]


def _over(nodes: Nodes, first: int, end: int) -> bytes:
    """The hash over the leaves `first` up to `end`, made of the full subtrees in it, rightmost first."""
    spans = list(_full(first, end))
    hashed = nodes(*spans.pop())
    while spans:
        hashed = node_hash(nodes(*spans.pop()), hashed)
    return hashed


def _full(first: int, end: int) -> Iterator[tuple[int, int]]:
    """The full subtrees, each as large as can be, that lie side by side between two leaves; `first` is aligned to the largest."""
    while first < end:
        level = (end - first).bit_length() - 1
        yield level, first >> level
        first += 1 << level


def _largest_power_below(size: int) -> int:
    """The largest power of two that is less than `size`, which is at least 2."""
    return 1 << (size - 1).bit_length() - 1


def verify_inclusion(leaf_hash: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> None:
    """Raises ProofError unless the proof leads from the leaf to the root (§2.1.3.2)."""
    if not 0 <= index < size:
        raise ProofError(f"Leaf {index} lies outside a tree of {size} leaves.")
    hashed = leaf_hash
    for sibling, on_the_left in _climb(index, size - 1, proof):
        hashed = node_hash(sibling, hashed) if on_the_left else node_hash(hashed, sibling)
    if hashed != root:
        raise ProofError(f"The proof leads from leaf {index} to another root than that over the {size} leaves.")


def verify_consistency(first: int, second: int, first_root: bytes, second_root: bytes, proof: Sequence[bytes]) -> None:
    """Raises ProofError unless the tree of `second` leaves begins with that of `first` (§2.1.4.2)."""
    if not 0 <= first <= second:
        raise ProofError(f"A tree of {second} leaves does not begin with one of {first}.")
    if first in {0, second}:
        _verify_nothing_to_show(first, second, first_root, second_root, proof)
        return
    # Where the first tree is itself a node of the second, its root is left out of the proof.
    begun, *rest = [first_root, *proof] if first.bit_count() == 1 else proof or [b""]
    aligned = (first & -first).bit_length() - 1
    small = large = begun
    for sibling, on_the_left in _climb(first - 1 >> aligned, second - 1 >> aligned, rest):
        if on_the_left:
            small = node_hash(sibling, small)
        large = node_hash(sibling, large) if on_the_left else node_hash(large, sibling)
    if small != first_root:
        raise ProofError(f"The proof does not lead to the root that was given for the first {first} leaves.")
    if large != second_root:
        raise ProofError(f"The proof does not lead to the root that was given for all {second} leaves.")


def _verify_nothing_to_show(
    first: int, second: int, first_root: bytes, second_root: bytes, proof: Sequence[bytes]
) -> None:
    if proof:
        raise ProofError(f"Between {first} and {second} leaves there is nothing to show, but the proof has hashes.")
    if first == 0 and first_root != EMPTY:
        raise ProofError("The root that was given for no leaves is not that of an empty tree.")
    if first == second and first_root != second_root:
        raise ProofError(f"Two roots were given for the same {first} leaves: the record was changed between them.")


def _climb(node: int, last: int, proof: Sequence[bytes]) -> Iterator[tuple[bytes, bool]]:
    """Each hash of a proof, and whether it stands to the left, on the way from a node to the root; `last` is the last of its level."""
    for number, sibling in enumerate(proof, 1):
        if len(sibling) != SIZE:
            raise ProofError(f"Hash {number} of the proof has {len(sibling)} bytes instead of {SIZE}.")
        if last == 0:
            raise ProofError(f"The proof goes on after the root is reached, at its hash {number}.")
        yield sibling, node % 2 == 1 or node == last
        lone = (
            (node & -node).bit_length() - 1 if node == last else 0
        )  # on the right edge a node rises without a sibling
        node, last = node >> lone + 1, last >> lone + 1
    if last:
        raise ProofError(f"The proof ends after {len(proof)} hashes, before the root is reached.")
