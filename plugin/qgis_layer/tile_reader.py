"""Reading the cells of a raster tile by tile, each block once, the next tile while one is worked on."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from typing import TypeVar

import numpy as np
from osgeo import gdal

from .tiles import Tile, Tiling

_CACHE_BYTES = 64_000_000
_TYPES = {np.dtype(np.float32): gdal.GDT_Float32, np.dtype(np.uint8): gdal.GDT_Byte}

With = TypeVar("With")


class UnreadableError(Exception):
    """GDAL cannot read cells: `row` where, `why` in its words."""

    def __init__(self, row: int, why: str) -> None:
        super().__init__(why)
        self.row, self.why = row, why


@contextmanager
def quiet() -> Iterator[None]:
    """GDAL's own complaints are kept off the console; ours say what to do. Holds for this thread only."""
    gdal.PushErrorHandler("CPLQuietErrorHandler")
    try:
        yield
    finally:
        gdal.PopErrorHandler()


class _SmallCache:
    """GDAL's cache of blocks is one for the process; it is kept small as long as anybody reads, then put back."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._readers = 0
        self._before = 0

    @contextmanager
    def __call__(self) -> Iterator[None]:
        with self._lock:
            if not self._readers:
                self._before = gdal.GetCacheMax()
                gdal.SetCacheMax(min(self._before, _CACHE_BYTES))
            self._readers += 1
        try:
            yield
        finally:
            with self._lock:
                self._readers -= 1
                if not self._readers:
                    gdal.SetCacheMax(self._before)


small_cache = _SmallCache()


@contextmanager
def on_all_cores() -> Iterator[None]:
    """GeoTIFFs opened meanwhile in this thread, those under a virtual raster too, decode blocks on all cores.

    GDAL that is too old to be asked does not decode that way either.
    """
    if not hasattr(gdal, "GetThreadLocalConfigOption"):
        yield
        return
    before = gdal.GetThreadLocalConfigOption("GDAL_NUM_THREADS")
    gdal.SetThreadLocalConfigOption("GDAL_NUM_THREADS", "ALL_CPUS")
    try:
        yield
    finally:
        gdal.SetThreadLocalConfigOption("GDAL_NUM_THREADS", before)


def read_ahead(
    bands: list[gdal.Band], kinds: list[type], tiling: Tiling, is_virtual: bool, wanted: Iterable[tuple[Tile, With]]
) -> Iterator[tuple[Tile, list[np.ndarray], With]]:
    """The cells of each band in each tile wanted, as arrays of `kinds` with the row above and the column before.

    They hold until the next tile is asked for. Another thread reads the next tile meanwhile: decoding lets go
    of Python's lock. Raises UnreadableError.
    """
    # blocks under a virtual raster are others than its own, and those that tiles cut are needed for the tile below
    flush = tiling.whole_blocks and not is_virtual
    turns = [[_Cells(band, kind, tiling, flush) for band, kind in zip(bands, kinds)] for _ in range(2)]
    edges = [_Edges(tiling) for _ in bands]

    def read(turn: list[_Cells], tile: Tile) -> tuple[list[np.ndarray], tuple[int, str] | None]:
        with quiet(), on_all_cores():
            try:
                return [cells.read(tile, edge) for cells, edge in zip(turn, edges)], None
            except UnreadableError as error:  # kept by what waits for it, it would keep the file open
                return [], (error.row, error.why)

    with small_cache(), ThreadPoolExecutor(1) as reader:
        coming = (
            (tile, rest, reader.submit(read, turns[number % 2], tile)) for number, (tile, rest) in enumerate(wanted)
        )
        ahead = next(coming, None)
        while ahead is not None:
            (tile, rest, reading), ahead = ahead, next(coming, None)
            cells, fault = reading.result()
            if fault is not None:
                raise UnreadableError(*fault)
            yield tile, cells, rest


class _Edges:
    """The lowest row and the last columns of tiles read, since the tiles below and to the right need them."""

    def __init__(self, tiling: Tiling) -> None:
        self._tiling = tiling
        self._row = (-1, 0, np.zeros(0))
        self._columns: dict[int, tuple[np.ndarray, np.ndarray]] = {}

    def row(self, number: int, left: int, right: int) -> np.ndarray | None:
        """Cells of a row, where they are kept."""
        kept, begin, values = self._row
        if kept != number or left < begin or right > begin + len(values):
            return None
        return values[left - begin : right - begin]

    def column(self, number: int, top: int, bottom: int) -> np.ndarray | None:
        """Cells of a column, where they are kept."""
        if number not in self._columns:
            return None
        known, values = self._columns[number]
        return values[top:bottom] if known[top:bottom].all() else None

    def keep(self, tile: Tile, cells: np.ndarray) -> None:
        """Keep the edges of a tile, of which `cells` has no more than its own."""
        self._row = (tile.bottom - 1, tile.left, cells[-1].copy())
        if tile.right % self._tiling.tile_width:
            return
        number = tile.right - 1
        if number not in self._columns:
            for old in [column for column in self._columns if column < tile.left - 1]:
                del self._columns[old]
            height = self._tiling.height
            self._columns[number] = np.zeros(height, dtype=bool), np.empty(height, dtype=cells.dtype)
        known, values = self._columns[number]
        known[tile.top : tile.bottom] = True
        values[tile.top : tile.bottom] = cells[:, -1]


class _Cells:
    """Memory for the cells of one tile of a band, used again and again."""

    def __init__(self, band: gdal.Band, kind: type, tiling: Tiling, flush: bool) -> None:
        """`flush`: GDAL need not keep the blocks of a tile that was read."""
        self._band, self._flush = band, flush
        self._room = np.empty((tiling.tile_height + 1) * (tiling.tile_width + 1), dtype=kind)

    def read(self, tile: Tile, edges: _Edges) -> np.ndarray:
        """Cells from the row above the tile and the column before it on; those two hold what was wanted of them."""
        width, height = tile.right - tile.left + 1, tile.bottom - tile.top + 1
        cells = self._room[: height * width].reshape(height, width)
        self._read(tile, cells[1:, 1:])
        if tile.above:
            row = edges.row(tile.top - 1, tile.left, tile.right)
            if row is None:
                self._read(replace(tile, top=tile.top - 1, bottom=tile.top), cells[:1, 1:])
            else:
                cells[0, 1:] = row
        if tile.before:
            top = tile.top - tile.above
            column, into = edges.column(tile.left - 1, top, tile.bottom), cells[1 - tile.above :, :1]
            if column is None:
                self._read(replace(tile, top=top, left=tile.left - 1, right=tile.left), into)
            else:
                into[:, 0] = column
        edges.keep(tile, cells[1:, 1:])
        if self._flush:
            self._band.FlushCache()
        return cells

    def _read(self, tile: Tile, into: np.ndarray) -> None:
        """As many cells as the window has, so that GDAL has no use for overviews."""
        (rows, columns), line, why = into.shape, into.strides[0], ""
        cells = (rows - 1) * line // into.itemsize + columns
        room = np.lib.stride_tricks.as_strided(into, (cells,), (into.itemsize,))
        try:
            done = self._band.ReadRaster(
                tile.left, tile.top, columns, rows, buf_type=_TYPES[into.dtype], buf_line_space=line, buf_obj=room
            )
        except RuntimeError as error:
            done, why = None, str(error)
        if done is None:
            raise UnreadableError(tile.top, why)
