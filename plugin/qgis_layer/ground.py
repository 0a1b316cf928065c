"""The ground as the engine asks for it: heights in metres at points in metres, from a raster layer."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from qgis.core import (
    QgsCoordinateTransform,
    QgsCsException,
    QgsGeometry,
    QgsProviderRegistry,
    QgsRasterLayer,
    QgsWkbTypes,
)

from ..elevation.ground import Progress, SamplingCanceledError
from ..units import FOOT_M, US_SURVEY_FOOT_M, Units
from .crs import AUTO
from .raster import HeightBand, RasterCanceledError, RasterError
from .read import Frame

GROUND_UNITS = (AUTO, "m", "ft", "us-ft")

_POINTS_AT_ONCE = 100_000


def height_unit_m(choice: str, units: Units) -> float:
    """Metres a unit of the ground raster: as chosen, else that of lengths in `units`."""
    return {"m": 1.0, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M}.get(choice, units.length_m)


class RasterGround:
    """Samples a raster layer; made where the layer may be touched, called in any one thread.

    Heights are bilinear. Where the raster has no value, or ends, they are NaN. A point outside the raster
    by its CRS, or one that cannot be brought into it, is missing too.
    """

    def __init__(
        self, layer: QgsRasterLayer, frame: Frame, unit: str = AUTO, is_canceled: Callable[[], bool] = lambda: False
    ) -> None:
        """`frame` is that of the drains; `unit` one of GROUND_UNITS. Raises RasterError with a sentence."""
        self._band = _open(layer)
        self._plan_unit_m = frame.unit_m
        self._height_unit_m = height_unit_m(unit, frame.units)
        self._is_canceled = is_canceled
        self._transform = None
        if layer.crs() != frame.crs:
            self._transform = QgsCoordinateTransform(frame.crs, layer.crs(), frame.transform_context)

    def __call__(self, x_m: np.ndarray, y_m: np.ndarray, progress: Progress = lambda share: None) -> np.ndarray:
        """Ground heights at points, in metres."""
        x, y = self._in_raster_crs(x_m, y_m)
        try:
            return self._band.heights(x, y, progress, self._is_canceled) * self._height_unit_m
        except RasterCanceledError:
            raise SamplingCanceledError from None

    def _in_raster_crs(self, x_m: np.ndarray, y_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        x, y = np.asarray(x_m, dtype=float), np.asarray(y_m, dtype=float)
        if self._plan_unit_m != 1.0:
            x, y = x / self._plan_unit_m, y / self._plan_unit_m
        if self._transform is None:
            return x, y
        xy = np.empty((len(x), 2))
        for start in range(0, len(x), _POINTS_AT_ONCE):
            if self._is_canceled():
                raise SamplingCanceledError
            part = slice(start, start + _POINTS_AT_ONCE)
            xy[part] = _transformed(np.column_stack([x[part], y[part]]), self._transform)
        return xy[:, 0], xy[:, 1]


def _open(layer: QgsRasterLayer) -> HeightBand:
    if layer.providerType() != "gdal":
        raise RasterError(
            f"The ground '{layer.name()}' is a web or database layer, which gives pictures or is slow at points: "
            "export it to a GeoTIFF file and use that."
        )
    source = layer.source()
    parts = QgsProviderRegistry.instance().decodeUri("gdal", source)
    declared = [(given.min(), given.max()) for given in layer.dataProvider().userNoDataValues(1)]
    band = HeightBand(source.partition("|")[0], layer.name(), list(parts.get("openOptions") or []), declared)
    if not layer.crs().isValid():
        raise RasterError(f"The ground '{layer.name()}' has no coordinate reference system: set it in its properties.")
    return band


def _transformed(xy: np.ndarray, transform: QgsCoordinateTransform) -> np.ndarray:
    """Points brought into another CRS at one go; those that cannot be are NaN."""
    if len(xy) == 1:  # a line of the same point twice
        return _transformed(np.repeat(xy, 2, axis=0), transform)[:1]
    try:
        return _transformed_line(xy, transform)
    except QgsCsException:
        if (xy == xy[0]).all():
            return np.full_like(xy, np.nan)
        middle = len(xy) // 2
        return np.concatenate([_transformed(xy[:middle], transform), _transformed(xy[middle:], transform)])


def _transformed_line(xy: np.ndarray, transform: QgsCoordinateTransform) -> np.ndarray:
    """QGIS transforms a geometry in compiled code; points one by one would take a hundred times as long."""
    header = b"\x01" + np.array([QgsWkbTypes.Type.LineString, len(xy)], dtype="<u4").tobytes()
    geometry = QgsGeometry()
    geometry.fromWkb(header + np.ascontiguousarray(xy, dtype="<f8").tobytes())
    geometry.transform(transform)
    moved = np.frombuffer(geometry.asWkb().data(), dtype="<f8", offset=len(header)).reshape(-1, 2)
    return np.where(np.isfinite(moved), moved, np.nan)
