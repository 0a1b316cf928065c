"""Bilinear heights of one band of a raster at many cells, through QGIS's own GDAL.

Cells are asked for in any order; the raster is read from top to bottom in bands of whole blocks, so
that every block is decoded once. The last row of a band is kept for the band below.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from osgeo import gdal

_ROWS_AT_LEAST = 256
_CELLS_AT_ONCE = 64_000_000  # 256 MB


class RasterError(RuntimeError):
    """The raster cannot be used; the message says why and what to do."""


class RasterCanceledError(Exception):
    """The user stopped the reading."""


@contextmanager
def _quiet() -> Iterator[None]:
    """GDAL's own complaints are kept off the console; ours say what to do. Holds for this thread only."""
    gdal.PushErrorHandler("CPLQuietErrorHandler")
    try:
        yield
    finally:
        gdal.PopErrorHandler()


@dataclass(frozen=True)
class Window:
    """What is read at once: columns `left` to `right` (not included), `rows` rows, which are whole blocks or not."""

    left: int
    right: int
    rows: int
    whole_blocks: bool


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
        dataset = self._open_with(uri, open_options)
        if dataset.GetDriver().ShortName == "GTiff":  # decodes blocks on all cores if asked
            dataset = self._open_with(uri, [*open_options, "NUM_THREADS=ALL_CPUS"])
        return dataset

    def _open_with(self, uri: str, open_options: list[str]) -> gdal.Dataset:
        # whether GDAL raises or returns None is a setting of the whole process, which is left as it is
        why = "it is not there or not a raster that can be read"
        with _quiet():
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
        self, x: np.ndarray, y: np.ndarray, progress: Callable[[float], None], is_canceled: Callable[[], bool]
    ) -> np.ndarray:
        """Heights at coordinates of the raster's CRS, straight between the centres of the four cells around.

        NaN outside the raster and where a cell that counts has no value. In the half cell along the edge
        the height is that of the outermost cells.
        """
        column, row = (x - self.left_x) / self.cell_x - 0.5, (y - self.top_y) / self.cell_y - 0.5
        z = np.full(len(x), np.nan)
        within = np.flatnonzero(
            (column >= -0.5) & (column <= self.width - 0.5) & (row >= -0.5) & (row <= self.height - 0.5)
        )
        if not len(within):
            return z
        column = np.clip(column[within], 0.0, self.width - 1.0)
        row = np.clip(row[within], 0.0, self.height - 1.0)
        z[within] = self._read(column, row, progress, is_canceled)
        return z

    def _read(
        self, column: np.ndarray, row: np.ndarray, progress: Callable[[float], None], is_canceled: Callable[[], bool]
    ) -> np.ndarray:
        window = self._window(column)
        band = (np.ceil(row) // window.rows).astype(np.int32)  # of the lower of the two rows a height needs
        order, counts = _sorted_by(band)
        stop = np.cumsum(counts)
        z = np.empty(len(row))
        cells, mask = _Cells(window), _Cells(window) if self._has_mask else None
        for number in np.flatnonzero(counts).tolist():
            if is_canceled():
                raise RasterCanceledError
            points = order[stop[number] - counts[number] : stop[number]]
            top = number * window.rows
            above = bool(np.floor(row[points].min()) < top)
            bottom = min(top + window.rows, self.height)
            cells.read(self._band, top, bottom, above, self._fail)
            if mask is not None:
                mask.read(self._band.GetMaskBand(), top, bottom, above, self._fail)
            z[points] = self._bilinear(cells, mask, column[points], row[points])
            if window.whole_blocks:  # else GDAL keeps every block until a twentieth of the memory is full
                self._band.FlushCache()
            progress(stop[number] / len(row))
        return z * self._scale + self._offset if self._scale != 1.0 or self._offset else z

    def _window(self, column: np.ndarray) -> Window:
        block_width, block_height = self._band.GetBlockSize()
        left = int(column.min()) // block_width * block_width
        right = min(-(-(int(np.ceil(column.max())) + 1) // block_width) * block_width, self.width)
        rows = -(-_ROWS_AT_LEAST // block_height) * block_height
        most = max(_CELLS_AT_ONCE // (right - left), 1)
        if rows > most:
            rows = most // block_height * block_height or most
        return Window(left, right, min(rows, self.height), rows % block_height == 0)

    def _fail(self, row: int, why: str) -> None:
        why = why or "the file is damaged"
        raise RasterError(f"The ground '{self._name}' cannot be read near row {row}: {why}. Load a sound copy of it.")

    def _bilinear(self, cells: _Cells, mask: _Cells | None, column: np.ndarray, row: np.ndarray) -> np.ndarray:
        at, share_x, share_y = cells.corners(column, row)
        corners = cells.values.ravel()[at]
        bad = ~(np.abs(corners) < 1e30)
        if self._nodata is not None:
            bad |= corners == self._nodata
        for low, high in self._missing:
            bad |= (corners >= low) & (corners <= high)
        if mask is not None:
            bad |= mask.values.ravel()[at] == 0
        corners = np.where(bad, np.nan, corners.astype(float))
        upper = corners[0] + share_x * (corners[1] - corners[0])
        lower = corners[2] + share_x * (corners[3] - corners[2])
        return upper + share_y * (lower - upper)


class _Cells:
    """Values of the band read last; row 0 of `values` is the last row of the band above."""

    def __init__(self, window: Window) -> None:
        self._window = window
        self.values = np.empty((window.rows + 1, window.right - window.left), dtype=np.float32)
        self._top = 0
        self._bottom = -1

    def read(self, band: gdal.Band, top: int, bottom: int, above: bool, fail: Callable[[int, str], None]) -> None:
        """Read rows `top` to `bottom` (not included), and the row above them if it is asked for."""
        if above and self._bottom == top:
            self.values[0] = self.values[self._bottom - self._top]
        elif above:
            self._read_rows(band, top - 1, self.values[:1], fail)
        self._read_rows(band, top, self.values[1 : bottom - top + 1], fail)
        self._top, self._bottom = top, bottom

    def _read_rows(self, band: gdal.Band, top: int, into: np.ndarray, fail: Callable[[int, str], None]) -> None:
        why = ""
        with _quiet():
            try:
                done = band.ReadRaster(
                    self._window.left, top, into.shape[1], into.shape[0], buf_type=gdal.GDT_Float32, buf_obj=into
                )
            except RuntimeError as error:
                done, why = None, str(error)
        if done is None:
            fail(top, why)

    def corners(self, column: np.ndarray, row: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Flat indices of the four cells around each place, and its share of the way right and down.

        A cell that counts for nothing is replaced by its neighbour, so that its missing value does no harm.
        """
        left, up = np.floor(column), np.floor(row)
        share_x, share_y = column - left, row - up
        width = self.values.shape[1]
        first = (up.astype(np.int64) - (self._top - 1)) * width + (left.astype(np.int64) - self._window.left)
        right, down = (share_x > 0.0).astype(np.int64), np.where(share_y > 0.0, width, 0)
        return np.stack([first, first + right, first + down, first + right + down]), share_x, share_y


def _sorted_by(band: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Order of the points by band, and the number of points in each band."""
    if len(band) and band.max() < np.iinfo(np.int16).max:
        band = band.astype(np.int16)  # numpy sorts small integers in one pass
    return np.argsort(band, kind="stable"), np.bincount(band)
