"""The stored tree held against itself, level by level: it can be made again from the leaves, but proofs are made from it as it stands."""

from collections.abc import Iterator, Mapping

from services.evidence.finding import Finding
from services.evidence.roots import TILE
from services.evidence.tree import SIZE, root


def levels(tiles: Mapping[tuple[int, int], bytes], after: int, last: int) -> Iterator[Finding]:
    """The stored tree held against itself: each whole tile that ends behind position `after`, up to `last`, is summed up one level up.

    `tiles` are those over these positions by (level, index).
    """
    for (level, index), hashes in sorted(tiles.items()):
        yield from _unfounded(tiles, level, index, after, last)
        width = 1 << 8 * (level + 1)
        begins, ends = index * width + 1, (index + 1) * width
        if len(hashes) % SIZE or len(hashes) > TILE * SIZE:
            what = f"tile {index} of level {level} of the stored tree is not whole hashes"
            yield Finding("tree", begins, f"Positions {begins} to {ends}: {what}.", last=ends)
        elif after < ends <= last and len(hashes) == TILE * SIZE:
            at = index % TILE * SIZE
            above = tiles.get((level + 1, index // TILE), b"")[at : at + SIZE]
            if above != root([hashes[i : i + SIZE] for i in range(0, len(hashes), SIZE)]):
                what = f"tile {index} of level {level} of the stored tree is not what stands for it one level up"
                yield Finding("tree", begins, f"Positions {begins} to {ends}: {what}.", last=ends)


def _unfounded(
    tiles: Mapping[tuple[int, int], bytes], level: int, index: int, after: int, last: int
) -> Iterator[Finding]:
    """The hashes of a tile that stand for one below that is not whole."""
    width = 1 << 8 * level
    for below in range(index * TILE, index * TILE + len(tiles[level, index]) // SIZE) if level else ():
        begins, ends = below * width + 1, (below + 1) * width
        if after < ends <= last and len(tiles.get((level - 1, below), b"")) != TILE * SIZE:
            what = f"a hash of level {level} of the stored tree stands for a tile that is not whole"
            yield Finding("tree", begins, f"Positions {begins} to {ends}: {what}.", last=ends)
