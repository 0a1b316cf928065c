"""Bilinear heights of one band of a raster at places along many lines, through QGIS's own GDAL.

Lines come in any order; the raster is read tile by tile, so that every block is decoded once and no more than two
tiles are in memory, whatever the size of the raster.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields, replace

import numpy as np
from osgeo import gdal

from ..elevation.legs import Legs
from .tile_reader import UnreadableError, on_all_cores, quiet, read_ahead
from .tiles import Tile, Tiling

_CELLS_AT_ONCE = 4_000_000  # 16 MB, twice
_PLACES_AT_ONCE = 100_000
_ON_EDGE = 1e-6  # of a cell: rounding


class RasterError(RuntimeError):
    """The raster cannot be used; the message says why and what to do."""


class RasterCanceledError(Exception):
    """The user stopped the reading."""


class HeightBand:
    """The first band of a raster file, open for reading heights."""

    def __init__(self, uri: str, name: str, open_options: list[str], missing: list[tuple[float, float]]) -> None:
        """`name` is for messages; `missing` are ranges of values that stand for no height, besides the file's own."""
        self._name = name
        self._dataset = self._open(uri, open_options)
        self._band = self._dataset.GetRasterBand(1)
        self.width, self.height = self._dataset.RasterXSize, self._dataset.RasterYSize
        self.left_x, self.cell_x, self.top_y, self.cell_y = self._place()
        self._missing = missing
        nodata = self._band.GetNoDataValue()
        with np.errstate(over="ignore"):  # a value beyond single precision is infinite there, and missing anyhow
            self._nodata = None if nodata is None else np.float32(nodata)
        self._scale = self._band.GetScale() or 1.0
        self._offset = self._band.GetOffset() or 0.0
        self._has_mask = bool(self._band.GetMaskFlags() & gdal.GMF_PER_DATASET)

    def _open(self, uri: str, open_options: list[str]) -> gdal.Dataset:
        # whether GDAL raises or returns None is a setting of the whole process, which is left as it is
        why = "it is not there or not a raster that can be read"
        with quiet(), on_all_cores():
            try:
                dataset = gdal.OpenEx(uri, gdal.OF_RASTER | gdal.OF_READONLY, open_options=open_options)
            except RuntimeError as error:
                dataset, why = None, str(error)
        if dataset is None or not dataset.RasterCount:
            raise RasterError(f"The ground '{self._name}' cannot be opened: {why}. Load it again and check its source.")
        return dataset

    def _place(self) -> tuple[float, float, float, float]:
        geotransform = self._dataset.GetGeoTransform(can_return_null=True)
        if geotransform is None:
            raise RasterError(f"The ground '{self._name}' has no place on the map: georeference it first.")
        left, cell_x, turn_x, top, turn_y, cell_y = geotransform
        if turn_x or turn_y:
            raise RasterError(
                f"The ground '{self._name}' is turned against its axes: save a copy with north up "
                "(Raster, Projections, Warp) and use that."
            )
        return left, cell_x, top, cell_y

    def heights(
        self, legs: Legs, progress: Callable[[float], None], is_canceled: Callable[[], bool]
    ) -> Iterator[tuple[Legs, np.ndarray]]:
        """Heights at the places of legs in the raster's CRS, straight between the centres of the four cells around.

        NaN where a cell that counts has no value; places outside the raster are left out. In the half cell along
        the edge the height is that of the outermost cells.
        """
        legs = self._in_cells(legs)
        done, total = 0, int(legs.count.sum(dtype=np.int64))
        tiling = Tiling.fit(self.width, self.height, *self._band.GetBlockSize(), _CELLS_AT_ONCE)
        bands, kinds = [self._band], [np.float32]
        if self._has_mask:
            bands, kinds = [*bands, self._band.GetMaskBand()], [*kinds, np.uint8]
        is_virtual = self._dataset.GetDriver().ShortName == "VRT"
        try:
            for tile, cells, part in read_ahead(bands, kinds, tiling, is_virtual, tiling.places_by_tile(legs)):
                for some in part.in_chunks(_PLACES_AT_ONCE):
                    if is_canceled():
                        raise RasterCanceledError
                    yield some, self._bilinear(some, tile, *cells)
                    done += int(some.count.sum())
                    progress(done / total)
        except UnreadableError as error:
            raise RasterError(
                f"The ground '{self._name}' cannot be read near row {error.row}: {error.why or 'the file is damaged'}. "
                "Load a sound copy of it."
            ) from None

    def _in_cells(self, legs: Legs) -> Legs:
        """Legs counted in cells from the centre of the first, without what lies outside the raster."""
        x, y = (legs.x - self.left_x) / self.cell_x - 0.5, (legs.y - self.top_y) / self.cell_y - 0.5
        legs = replace(legs, x=x, y=y, dx=legs.dx / self.cell_x, dy=legs.dy / self.cell_y)
        (end_x, end_y), (most_x, most_y) = legs.last_xy, (self.width - 0.5, self.height - 0.5)
        within = (np.minimum(x, end_x) >= -0.5) & (np.maximum(x, end_x) <= most_x)
        within &= (np.minimum(y, end_y) >= -0.5) & (np.maximum(y, end_y) <= most_y)
        beyond = np.flatnonzero(~within)
        if not len(beyond):
            return legs
        some = legs.only(beyond)
        spans = _span(some.x, some.dx, some.count, most_x), _span(some.y, some.dy, some.count, most_y)
        low, high = np.maximum(spans[0][0], spans[1][0]), np.minimum(spans[0][1], spans[1][1])
        some = some.part(np.arange(len(some)), low.astype(np.int32), np.maximum(high, low).astype(np.int32))
        legs = replace(legs, sample=legs.sample.copy(), count=legs.count.copy())
        for column in fields(Legs):
            getattr(legs, column.name)[beyond] = getattr(some, column.name)
        return legs.only(legs.count > 0) if not some.count.all() else legs

    def _bilinear(self, legs: Legs, tile: Tile, cells: np.ndarray, mask: np.ndarray | None = None) -> np.ndarray:
        """A cell that counts for nothing is replaced by its neighbour, so that its missing value does no harm."""
        rows, columns = cells.shape
        column, row = legs.places()
        column -= tile.left - 1
        row -= tile.top - 1
        np.clip(column, 1.0 - tile.before, columns - 1.0, out=column)
        np.clip(row, 1.0 - tile.above, rows - 1.0, out=row)
        left, up = column.astype(np.intp), row.astype(np.intp)
        column -= left
        row -= up
        first = up * columns + left
        right, down = column > 0.0, (row > 0.0) * columns
        at = np.stack([first, first + right, first + down, first + down + right])
        corners = cells.ravel().take(at)
        bad = ~(np.abs(corners) < 1e30)
        if self._nodata is not None:
            bad |= corners == self._nodata
        for low, high in self._missing:
            bad |= (corners >= low) & (corners <= high)
        if mask is not None:
            bad |= mask.ravel().take(at) == 0
        corners = corners.astype(float)
        corners[bad] = np.nan
        upper = corners[0] + column * (corners[1] - corners[0])
        lower = corners[2] + column * (corners[3] - corners[2])
        z = upper + row * (lower - upper)
        return z * self._scale + self._offset if self._scale != 1.0 or self._offset else z


def _span(at: np.ndarray, step: np.ndarray, count: np.ndarray, most: float) -> tuple[np.ndarray, np.ndarray]:
    """From and to which place (not included) legs lie between half a cell before the first centre and `most`."""
    least, most = -0.5 - _ON_EDGE, most + _ON_EDGE
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = (least - at) / step, (most - at) / step
    low, high = np.ceil(np.minimum(*ends)), np.floor(np.maximum(*ends)) + 1.0
    stands = np.where((step == 0.0) & (at >= least) & (at <= most), count, 0)
    moves = (step != 0.0) & ~np.isnan(low) & ~np.isnan(high)
    return np.where(moves, np.maximum(low, 0.0), 0.0), np.where(moves, np.minimum(high, count), stands)
