"""A raster as tiles of whole blocks, and which tile each place along lines belongs to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..elevation.legs import Legs

_SIDE_AT_LEAST = 512  # multiples of it suit the blocks under a virtual raster, which are not seen
_LEGS_AT_ONCE = 100_000


@dataclass(frozen=True)
class Tile:
    """Cells to read: columns `left` to `right`, rows `top` to `bottom` (not included).

    `above`, `before`: whether the row above and the column before it are wanted too.
    """

    left: int
    top: int
    right: int
    bottom: int
    above: bool
    before: bool


@dataclass(frozen=True)
class Tiling:
    """A raster of `width` by `height` cells in blocks of `block_...`, cut into tiles of `tile_...`.

    A place belongs to the tile of the lower right of the four cells around it, so each needs the row above and the
    column before besides its own cells.
    """

    width: int
    height: int
    block_width: int
    block_height: int
    tile_width: int
    tile_height: int

    @classmethod
    def fit(cls, width: int, height: int, block_width: int, block_height: int, most_cells: int) -> Tiling:
        """Tiles of whole blocks with at most so many cells, wide rather than tall; of parts of a block if it has more.

        Tiles follow one another downwards, so that a block cut by a tile's lower edge is soon asked for again.
        """
        block_width, block_height = min(block_width, width), min(block_height, height)
        columns, rows = (
            -(-min(_SIDE_AT_LEAST, size) // block) * block
            for size, block in ((width, block_width), (height, block_height))
        )
        if rows * columns > most_cells:
            columns, rows = block_width, most_cells // (block_width * block_height) * block_height
        rows = rows or max(most_cells // block_width, 1)
        columns = min(columns * max(most_cells // (rows * columns), 1), most_cells)
        if columns >= width:
            columns = width
            rows = max(most_cells // (width * block_height) * block_height, rows)
        return cls(width, height, block_width, block_height, columns, min(rows, height))

    @property
    def whole_blocks(self) -> bool:
        """Whether no block is cut by tiles."""
        return (self.tile_width % self.block_width == 0 or self.tile_width == self.width) and (
            self.tile_height % self.block_height == 0 or self.tile_height == self.height
        )

    def places_by_tile(self, legs: Legs) -> Iterator[tuple[Tile, Legs]]:
        """Legs in cells (x counts columns, y rows, from the centre of the first cell), cut where they pass to the next
        tile; tiles column by column from the left, each from top to bottom, those without a place left out."""
        of, low, high, number = self._parts(legs)
        edges = np.flatnonzero(np.diff(number)) + 1
        for begin, end in zip([0, *edges.tolist()], [*edges.tolist(), len(number)]):
            if end > begin:
                part = legs.part(of[begin:end], low[begin:end], high[begin:end])
                yield self._tile(int(number[begin]), part), part

    def _parts(self, legs: Legs) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Parts of legs by tile: the leg, its places from and to, the number of the tile."""
        found = [np.zeros((4, 0), dtype=np.int32)]
        for begin in range(0, len(legs), _LEGS_AT_ONCE):
            of = np.arange(begin, min(begin + _LEGS_AT_ONCE, len(legs)), dtype=np.int32)
            row, low, high, down = _cut(legs.y, legs.dy, of, np.zeros_like(of), legs.count[of], self.tile_height,
                                        self.height)
            of = of[row]
            row, low, high, across = _cut(legs.x, legs.dx, of, low, high, self.tile_width, self.width)
            found.append(np.stack([of[row], low, high, across * self._tiles_down + down[row]]))
        parts = np.concatenate(found, axis=1)
        return tuple(parts[:, np.argsort(parts[3], kind="stable")])

    @property
    def _tiles_down(self) -> int:
        return -(-self.height // self.tile_height)

    def _tile(self, number: int, legs: Legs) -> Tile:
        """The blocks of a tile that the places in it need."""
        across, down = divmod(number, self._tiles_down)
        left, top = across * self.tile_width, down * self.tile_height
        ends = legs.last_xy
        columns = _needed(legs.x, ends[0], left, min(left + self.tile_width, self.width), self.block_width)
        rows = _needed(legs.y, ends[1], top, min(top + self.tile_height, self.height), self.block_height)
        return Tile(columns[0], rows[0], columns[1], rows[1], rows[2], columns[2])


def _needed(
    begin: np.ndarray, end: np.ndarray, tile: int, tile_end: int, block: int
) -> tuple[int, int, bool]:
    """Along one axis: the cells of the blocks that places need, and whether they need the cell before the tile."""
    lowest = int(np.floor(min(begin.min(), end.min())))
    highest = min(max(int(np.ceil(max(begin.max(), end.max()))), tile), tile_end - 1)
    low = max(lowest // block * block, tile)
    return low, min((highest // block + 1) * block, tile_end), lowest < tile and tile > 0


def _cut(
    at: np.ndarray, step: np.ndarray, of: np.ndarray, low: np.ndarray, high: np.ndarray, tile: int, size: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Cut the places `low` to `high` of legs `of` where they pass from one tile to the next along one axis.

    Returns for each part the row it was cut from, its places and its tile.
    """
    at, step = at[of], step[of]
    begin, end = (_tile_of(at + rank * step, tile, size) for rank in (low, high - 1))
    parts = np.abs(end - begin) + 1
    row = np.repeat(np.arange(len(of), dtype=np.int32), parts)
    first = np.cumsum(parts) - parts
    nth = np.arange(len(row)) - np.repeat(first, parts)
    sense = np.sign(end - begin)[row]
    number = begin[row] + sense * nth
    # the first place at which the leg has come into the tile, worked out alike for the part before and this one
    came = np.flatnonzero(nth)
    forward, in_leg = sense[came] > 0, row[came]
    edge = (number[came] + ~forward) * tile - 1.0
    passed = (edge - at[in_leg]) / step[in_leg]
    start = low[row]
    start[came] = np.clip(np.where(forward, np.floor(passed) + 1.0, np.ceil(passed)), low[in_leg], high[in_leg])
    stop = np.append(start[1:], high[-1:])
    last = first + parts - 1
    stop[last] = high
    keep = stop > start
    return row[keep], start[keep], stop[keep], number[keep].astype(np.int32)


def _tile_of(at: np.ndarray, tile: int, size: int) -> np.ndarray:
    cell = np.minimum(np.maximum(np.ceil(at), 0.0), size - 1.0)
    return cell.astype(np.int64) // tile
