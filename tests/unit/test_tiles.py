"""The stored tree answers as the tree itself, however it grew and wherever its tiles end."""

from functools import partial
from hashlib import sha256

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from services.evidence import tiles, tree
from services.evidence.tiles import TilesMissing

MOST = 65_537
HASHES = [sha256(b"%d" % number).digest() for number in range(MOST)]  # stand-ins for leaf hashes
EDGES = (1, 255, 256, 257, 511, 512, 513, 65_535, 65_536, 65_537)


def built(size, steps=()):
    """The tiles of a tree that grew in some steps."""
    found, edge, begun = {}, {}, 0
    for end in [*sorted(step for step in steps if step < size), size]:
        grown = tiles.grown(edge, HASHES[begun:end])
        found |= grown
        for level, index in sorted(grown):
            edge[level] = (index, grown[level, index])
        assert tiles.size_of(edge) == end
        begun = end
    return found


class Naive:
    """Any node of the tree over all the stand-ins, level by level, each hashed once."""

    def __init__(self):
        self.levels = [HASHES]
        while len(self.levels[-1]) > 1:
            self.levels.append(tree.parents(self.levels[-1]))

    def __call__(self, level, index):
        return self.levels[level][index]


naive = Naive()


@st.composite
def sizes(draw):
    near = draw(st.sampled_from(EDGES)) + draw(st.integers(-2, 2))
    return min(MOST, max(1, draw(st.sampled_from([near, draw(st.integers(1, 3000))]))))


@settings(max_examples=60, deadline=None)
@given(sizes(), st.lists(st.integers(1, 66_000), max_size=6), st.data())
@example(65_536, [65_535], None)
@example(65_537, [65_536], None)
@example(256, [255], None)
@example(257, [256], None)
def test_root_and_proofs_are_those_of_the_tree_however_it_grew(size, steps, data):
    kept = tiles.nodes_in(built(size, steps))
    index = size // 3 if data is None else data.draw(st.integers(0, size - 1))
    assert tree.root_at(kept, size) == tree.root(HASHES[:size])
    assert tree.inclusion_proof(kept, index, size) == tree.inclusion_proof(naive, index, size)
    assert tree.consistency_proof(kept, index + 1, size) == tree.consistency_proof(naive, index + 1, size)


@settings(max_examples=40, deadline=None)
@given(sizes(), st.data())
def test_the_tiles_that_a_question_names_are_enough_and_few(size, data):
    whole = built(size)
    index = data.draw(st.integers(0, size - 1))
    for question in (
        partial(tree.root_at, size=size),
        partial(tree.inclusion_proof, index=index, size=size),
        partial(tree.consistency_proof, first=index + 1, second=size),
    ):
        wanted = tiles.tiles_for(question)
        assert len(wanted) <= 5
        assert question(tiles.nodes_in({one: whole[one] for one in wanted})) == question(naive)


@settings(max_examples=40, deadline=None)
@given(sizes(), st.lists(st.one_of(st.sampled_from(EDGES), st.integers(1, 3000)), max_size=4))
@example(257, [256])
@example(65_537, [256, 65_536])
def test_the_same_tiles_come_of_it_however_it_grew(size, steps):
    assert built(size, steps) == built(size)


@settings(max_examples=40, deadline=None)
@given(sizes())
def test_every_tile_is_full_but_the_last_of_its_level_and_stands_for_the_one_below(size):
    whole = built(size)
    for (level, index), hashes in whole.items():
        number = (size >> 8 * level) - 256 * index  # full subtrees of this level, from the tile's first on
        assert len(hashes) == 32 * min(256, number)
    assert set(whole) == {(level, index) for level in range(3) for index in range(-(-(size >> 8 * level) // 256))}


def test_a_tile_that_is_missing_or_cut_short_is_named():
    whole = built(600)
    question = partial(tree.inclusion_proof, index=300, size=600)
    without = {place: hashes for place, hashes in whole.items() if place != (0, 1)}
    with pytest.raises(TilesMissing, match="Tile 1 of level 0"):
        question(tiles.nodes_in(without))
    with pytest.raises(TilesMissing, match="Tile 2 of level 0"):
        question(tiles.nodes_in(whole | {(0, 2): whole[0, 2][:-32]}))
