"""The tree as it is kept: tiles of 256 hashes, as in C2SP tlog-tiles. They follow from the leaves and can be made again from them.

Tile (level, index) holds the hashes of the full subtrees (8·level, 256·index) and on. Only the last of each level is not full.
"""

from collections.abc import Callable, Mapping, Sequence
from hashlib import sha256
from struct import Struct
from typing import Any, TypeVar

import asyncpg

from services.evidence.tree import SIZE, Nodes

T = TypeVar("T")
Edge = Mapping[int, tuple[int, bytes]]
"""The last tile of each level: its index and its hashes."""
Tiles = dict[tuple[int, int], bytes]

WIDTH = 256
_LEVELS = 8
_FULL = WIDTH * SIZE
_HIGHEST = 8  # 256^8 leaves: no log ends there
_PAIRS = Struct(f"{2 * SIZE}s")
_STAND_IN = bytes(SIZE)

_LAST = """
SELECT tile.level, tile.index, tile.hashes FROM generate_series(0, $2) AS wanted (level)
CROSS JOIN LATERAL (
    SELECT level, index, hashes FROM evidence.tile
    WHERE park = $1 AND level = wanted.level ORDER BY index DESC LIMIT 1
) tile
"""
_READ = """
SELECT tile.level, tile.index, tile.hashes FROM unnest($2::int[], $3::bigint[]) AS wanted (level, index)
JOIN evidence.tile ON tile.park = $1 AND tile.level = wanted.level AND tile.index = wanted.index
"""
_WRITE = """
INSERT INTO evidence.tile SELECT $1, * FROM unnest($2::smallint[], $3::bigint[], $4::bytea[])
ON CONFLICT (park, level, index) DO UPDATE SET hashes = excluded.hashes
"""
_FORGET = "DELETE FROM evidence.tile WHERE park = $1"


class TilesMissing(Exception):  # noqa: N818 - a state of the world, not a mistake
    """Some of the stored tree is not there: it must be made again from the leaves."""


async def edge(connection: asyncpg.Connection, park: str) -> Edge:
    """Where the stored tree ends."""
    return {level: (index, hashes) for level, index, hashes in await connection.fetch(_LAST, park, _HIGHEST)}


def size_of(edge: Edge) -> int:
    """How many leaves a stored tree has."""
    index, hashes = edge.get(0, (0, b""))
    return index * WIDTH + len(hashes) // SIZE


def last_of(edge: Edge) -> bytes:
    """The hash of the last leaf of a stored tree."""
    return edge[0][1][-SIZE:]


def grown(edge: Edge, leaf_hashes: Sequence[bytes]) -> Tiles:
    """The tiles that are new or longer once these leaves stand behind the edge."""
    tiles: Tiles = {}
    level, hashes = 0, b"".join(leaf_hashes)
    while hashes:
        index, held = edge.get(level, (0, b""))
        if len(held) == _FULL:
            index, held = index + 1, b""
        hashes = held + hashes
        above = []
        for number, start in enumerate(range(0, len(hashes), _FULL), index):
            tile = hashes[start : start + _FULL]
            tiles[level, number] = tile
            if len(tile) == _FULL:
                above.append(_over(tile))
        level, hashes = level + 1, b"".join(above)
    return tiles


def _over(hashes: bytes) -> bytes:
    """The hash over a full subtree, given the hashes at some level of it."""
    while len(hashes) > SIZE:
        hashes = b"".join([sha256(b"\x01" + pair).digest() for (pair,) in _PAIRS.iter_unpack(hashes)])
    return hashes


def nodes_in(tiles: Mapping[tuple[int, int], bytes]) -> Nodes:
    """The nodes that lie in some tiles; they raise TilesMissing for any other."""

    def node(level: int, index: int) -> bytes:
        tile, begins, ends = _place(level, index)
        hashes = tiles.get(tile, b"")[begins:ends]
        if len(hashes) != ends - begins:
            raise TilesMissing(f"Tile {tile[1]} of level {tile[0]} of the stored tree is missing or cut short.")
        return _over(hashes)

    return node


def _place(level: int, index: int) -> tuple[tuple[int, int], int, int]:
    """The tile that a node is in or above, and where in its bytes."""
    tile_level, rise = divmod(level, _LEVELS)
    tile_index, first = divmod(index << rise, WIDTH)
    return (tile_level, tile_index), first * SIZE, (first + (1 << rise)) * SIZE


def tiles_for(question: Callable[[Nodes], Any]) -> set[tuple[int, int]]:
    """The tiles that a question needs, found by asking it of a tree without contents."""
    found: set[tuple[int, int]] = set()

    def node(level: int, index: int) -> bytes:
        found.add(_place(level, index)[0])
        return _STAND_IN

    question(node)
    return found


async def ask(connection: asyncpg.Connection, park: str, question: Callable[[Nodes], T]) -> T:
    """The answer to a question about the stored tree, with one query; raises TilesMissing."""
    wanted = sorted(tiles_for(question))
    rows = await connection.fetch(_READ, park, [level for level, _ in wanted], [index for _, index in wanted])
    return question(nodes_in({(level, index): hashes for level, index, hashes in rows}))


async def write(connection: asyncpg.Connection, park: str, tiles: Tiles) -> None:
    """Store tiles, new or longer."""
    levels, indexes = zip(*tiles, strict=True)
    await connection.execute(_WRITE, park, levels, indexes, list(tiles.values()))


async def forget(connection: asyncpg.Connection, park: str) -> None:
    """Drop the stored tree, so that it is made again."""
    await connection.execute(_FORGET, park)
