"""The ground as the engine asks for it: heights in metres at points in metres, from a raster layer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

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
from ..elevation.legs import Legs, ranks
from ..units import FOOT_M, US_SURVEY_FOOT_M, Units
from .crs import AUTO
from .raster import HeightBand, RasterCanceledError, RasterError
from .read import Frame

GROUND_UNITS = (AUTO, "m", "ft", "us-ft")

_POINTS_AT_ONCE = 100_000
_STRAIGHT_M = 100.0  # so short a stretch stays straight in any other CRS to a millimetre


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
        self._same = layer.source(), layer.crs().toWkt(), frame.crs.toWkt(), frame.unit_m, self._height_unit_m
        if layer.crs() != frame.crs:
            self._transform = QgsCoordinateTransform(frame.crs, layer.crs(), frame.transform_context)

    def __eq__(self, other: object) -> bool:
        """Whether another tells the same ground."""
        return isinstance(other, RasterGround) and self._same == other._same

    def __hash__(self) -> int:
        return hash(self._same)

    def __call__(self, x_m: np.ndarray, y_m: np.ndarray, progress: Progress = lambda share: None) -> np.ndarray:
        """Ground heights at points, in metres."""
        z_m = np.full(len(x_m), np.nan)
        for legs, heights_m in self.along(Legs.of_points(x_m, y_m), progress):
            z_m[legs.samples()] = heights_m
        return z_m

    def along(self, legs: Legs, progress: Progress = lambda share: None) -> Iterator[tuple[Legs, np.ndarray]]:
        """Ground heights at the places of legs, in metres, a tile of the raster at a time; none outside of it."""
        moved = self._in_raster_crs(legs)
        del legs  # a county's are tens of megabytes
        found = self._band.heights(moved, progress, self._is_canceled)
        del moved
        try:
            for part, heights in found:
                yield part, heights * self._height_unit_m
        except RasterCanceledError:
            raise SamplingCanceledError from None

    def _in_raster_crs(self, legs: Legs) -> Legs:
        unit_m = self._plan_unit_m
        if self._transform is None and unit_m == 1.0:
            return legs
        if self._transform is None:
            return replace(legs, x=legs.x / unit_m, y=legs.y / unit_m, dx=legs.dx / unit_m, dy=legs.dy / unit_m)
        legs = _no_longer_than(legs, _STRAIGHT_M)
        ends = [self._moved(x / unit_m, y / unit_m) for x, y in ((legs.x, legs.y), legs.last_xy)]
        steps = np.maximum(legs.count - 1, 1)
        (x, y), (last_x, last_y) = ends
        return replace(legs, x=x, y=y, dx=(last_x - x) / steps, dy=(last_y - y) / steps)

    def _moved(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        xy = np.empty((len(x), 2))
        for start in range(0, len(x), _POINTS_AT_ONCE):
            if self._is_canceled():
                raise SamplingCanceledError
            part = slice(start, start + _POINTS_AT_ONCE)
            xy[part] = _transformed(np.column_stack([x[part], y[part]]), self._transform)
        return xy[:, 0], xy[:, 1]


def _no_longer_than(legs: Legs, length_m: float) -> Legs:
    """Legs cut into shorter ones."""
    apart_m = np.hypot(legs.dx, legs.dy)
    most = np.maximum(length_m / np.where(apart_m > 0.0, apart_m, np.inf), 1.0).astype(np.int32)
    parts = -(-legs.count // most)
    of = np.repeat(np.arange(len(legs)), parts)
    low = ranks(parts) * most[of]
    return legs.part(of, low, np.minimum(low + most[of], legs.count[of]))


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
