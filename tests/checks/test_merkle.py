"""The Merkle tree against the published vectors, and against the recursive definitions of RFC 9162 written out naively here."""

from hashlib import sha256

import pytest

from services.evidence import tree

# The eight leaves and nine roots of Certificate Transparency's reference tests (RFC 6962 §2.1, whose tree RFC 9162 §2.1 keeps).
LEAVES = (
    "", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f",
)  # fmt: skip
ROOTS = (
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)
LARGEST = 64
DATA = [b"leaf %d" % number for number in range(LARGEST)]


def mth(data):
    """RFC 9162 §2.1.1, word for word: the Merkle tree hash of a list of entries."""
    n = len(data)
    if n == 0:
        return sha256(b"").digest()
    if n == 1:
        return sha256(b"\x00" + data[0]).digest()
    k = split(n)
    return sha256(b"\x01" + mth(data[:k]) + mth(data[k:])).digest()


def split(n):
    """The largest power of two smaller than n: k < n <= 2k."""
    k = 1
    while 2 * k < n:
        k *= 2
    return k


def path(m, data):
    """RFC 9162 §2.1.3.1: the inclusion proof of entry m."""
    n = len(data)
    if n == 1:
        return []
    k = split(n)
    if m < k:
        return [*path(m, data[:k]), mth(data[k:])]
    return [*path(m - k, data[k:]), mth(data[:k])]


def proof(m, data):
    """RFC 9162 §2.1.4.1: the consistency proof of the first m entries."""
    return subproof(m, data, whole=True)


def subproof(m, data, *, whole):
    n = len(data)
    if m == n:
        return [] if whole else [mth(data)]
    k = split(n)
    if m <= k:
        return [*subproof(m, data[:k], whole=whole), mth(data[k:])]
    return [*subproof(m - k, data[k:], whole=False), mth(data[:k])]


def nodes(level, index):
    return mth(DATA[index << level : index + 1 << level])


def leaf_hash(entry):
    return sha256(b"\x00" + entry).digest()


@pytest.mark.parametrize("size", range(9))
def test_the_roots_over_the_first_leaves_are_those_of_the_public_vectors(size):
    hashes = [leaf_hash(bytes.fromhex(leaf)) for leaf in LEAVES[:size]]
    assert tree.root(hashes).hex() == ROOTS[size]
    assert mth([bytes.fromhex(leaf) for leaf in LEAVES[:size]]).hex() == ROOTS[size]


@pytest.mark.parametrize("size", range(1, LARGEST + 1))
def test_every_inclusion_proof_is_the_rfcs_and_verifies(size):
    data = DATA[:size]
    root = mth(data)
    assert tree.root([leaf_hash(entry) for entry in data]) == tree.root_at(nodes, size) == root
    for index in range(size):
        made = tree.inclusion_proof(nodes, index, size)
        assert made == path(index, data)
        tree.verify_inclusion(leaf_hash(data[index]), index, size, made, root)


@pytest.mark.parametrize("size", range(1, LARGEST + 1))
def test_every_consistency_proof_is_the_rfcs_and_verifies(size):
    data = DATA[:size]
    for first in range(1, size + 1):
        made = tree.consistency_proof(nodes, first, size)
        assert made == proof(first, data)
        tree.verify_consistency(first, size, mth(data[:first]), mth(data), made)
