"""What the tree refuses: proofs that were changed in any way, and places that are not in it."""

from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.evidence import tree
from services.evidence.tree import ProofError

HASHES = [sha256(b"%d" % number).digest() for number in range(300)]
SIZES = st.integers(1, len(HASHES))


def nodes(level, index):
    return tree.root(HASHES[index << level : index + 1 << level])


@st.composite
def places(draw):
    size = draw(SIZES)
    return draw(st.integers(0, size - 1)), size


@given(places(), st.data())
def test_an_inclusion_proof_with_any_bit_turned_is_refused(place, data):
    index, size = place
    hashes = [HASHES[index], *tree.inclusion_proof(nodes, index, size), tree.root(HASHES[:size])]
    which = data.draw(st.integers(0, len(hashes) - 1))
    hashes[which] = turned(hashes[which], data)
    with pytest.raises(ProofError):
        tree.verify_inclusion(hashes[0], index, size, hashes[1:-1], hashes[-1])


@given(places(), st.data())
def test_a_leaf_is_not_shown_at_another_place_by_its_proof(place, data):
    index, size = place
    other = data.draw(st.integers(-1, size))
    proof = tree.inclusion_proof(nodes, index, size)
    if other != index:
        with pytest.raises(ProofError):
            tree.verify_inclusion(HASHES[index], other, size, proof, tree.root(HASHES[:size]))


@given(places(), st.data())
def test_a_consistency_proof_with_any_bit_turned_is_refused(place, data):
    first, size = place[0] + 1, place[1]
    roots = tree.root(HASHES[:first]), tree.root(HASHES[:size])
    hashes = [*roots, *tree.consistency_proof(nodes, first, size)]
    which = data.draw(st.integers(0, len(hashes) - 1))
    hashes[which] = turned(hashes[which], data)
    with pytest.raises(ProofError):
        tree.verify_consistency(first, size, hashes[0], hashes[1], hashes[2:])


@given(places(), st.booleans())
def test_a_proof_with_a_hash_too_many_or_too_few_is_refused(place, longer):
    index, size = place
    root = tree.root(HASHES[:size])
    included, consistent = tree.inclusion_proof(nodes, index, size), tree.consistency_proof(nodes, index + 1, size)
    for proof, verify in (
        (included, lambda p: tree.verify_inclusion(HASHES[index], index, size, p, root)),
        (consistent, lambda p: tree.verify_consistency(index + 1, size, tree.root(HASHES[: index + 1]), root, p)),
    ):
        verify(proof)
        if proof or longer:
            with pytest.raises(
                ProofError, match="goes on after|nothing to show" if longer else "before the root is reached"
            ):
                verify([*proof, HASHES[0]] if longer else proof[:-1])


def turned(hashed, data):
    bit = data.draw(st.integers(0, 255))
    changed = bytearray(hashed)
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


@pytest.mark.parametrize(("index", "size"), [(0, 0), (5, 5), (-1, 5), (7, 5)])
def test_a_leaf_outside_the_tree_has_no_proof(index, size):
    with pytest.raises(ProofError, match=f"Leaf {index} lies outside a tree of {size} leaves"):
        tree.inclusion_proof(nodes, index, size)
    with pytest.raises(ProofError, match="lies outside"):
        tree.verify_inclusion(HASHES[0], index, size, [], HASHES[0])


@pytest.mark.parametrize(("first", "second"), [(6, 5), (-1, 5)])
def test_a_tree_does_not_begin_with_a_larger_one(first, second):
    with pytest.raises(ProofError, match="does not begin"):
        tree.consistency_proof(nodes, first, second)
    with pytest.raises(ProofError, match="does not begin"):
        tree.verify_consistency(first, second, HASHES[0], HASHES[1], [])


def test_any_tree_begins_with_the_empty_one():
    assert tree.consistency_proof(nodes, 0, 5) == []
    tree.verify_consistency(0, 5, tree.EMPTY, tree.root(HASHES[:5]), [])
    with pytest.raises(ProofError, match="not that of an empty tree"):
        tree.verify_consistency(0, 5, HASHES[0], tree.root(HASHES[:5]), [])


def test_two_roots_for_the_same_size_are_named_as_such():
    tree.verify_consistency(5, 5, HASHES[0], HASHES[0], [])
    with pytest.raises(ProofError, match="Two roots were given for the same 5 leaves"):
        tree.verify_consistency(5, 5, HASHES[0], HASHES[1], [])


def test_a_hash_of_another_length_is_named():
    with pytest.raises(ProofError, match="Hash 2 of the proof has 31 bytes instead of 32"):
        tree.verify_inclusion(HASHES[0], 0, 4, [HASHES[1], HASHES[2][:31]], HASHES[3])


@pytest.mark.parametrize("size", [3, 5, 255, 256, 257, 65_535, 65_536, 65_537, 1_000_000])
def test_a_proof_has_no_more_hashes_than_the_tree_has_levels(size):
    stand_in = HASHES[0]
    for index in (0, 1, size // 2, size - 2, size - 1):
        assert len(tree.inclusion_proof(lambda _l, _i: stand_in, index, size)) <= (size - 1).bit_length()
        assert len(tree.consistency_proof(lambda _l, _i: stand_in, index + 1, size)) <= (size - 1).bit_length() + 1
