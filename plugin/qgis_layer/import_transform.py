"""Coordinates of a file to those of the plan, through QGIS, many at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsCoordinateTransformContext,
    QgsCsException,
    QgsGeometry,
)

from .crs import counts_in_degrees

_FEW = 8  # places tried one by one


@dataclass(frozen=True)
class ToPlan:
    """Turns file coordinates into plan coordinates: x and y swapped or not, times `scale`, from CRS to CRS."""

    source: QgsCoordinateReferenceSystem
    plan: QgsCoordinateReferenceSystem
    context: QgsCoordinateTransformContext
    scale: float = 1.0
    swapped: bool = False

    def place(self, xy: np.ndarray) -> np.ndarray:
        """Places (n, 2); NaN where the plan has none."""
        xy = xy[:, ::-1] if self.swapped else xy
        xy = xy if self.scale == 1.0 else xy * self.scale
        if not self.source.isValid() or self.source == self.plan:
            return xy
        good = np.isfinite(xy).all(axis=1)
        if counts_in_degrees(self.source):
            good &= (np.abs(xy) <= (360.0, 90.0)).all(axis=1)
        out = np.full(xy.shape, np.nan)
        out[good] = self._through_qgis(xy[good])
        out[~np.isfinite(out).all(axis=1)] = np.nan
        return out

    def _through_qgis(self, xy: np.ndarray) -> np.ndarray:
        """All at once; where one of them fails, in halves."""
        if not len(xy):
            return xy
        line = QgsGeometry()
        line.fromWkb(shapely.to_wkb(shapely.linestrings(np.vstack([xy, xy[-1:]]))))
        try:
            line.transform(QgsCoordinateTransform(self.source, self.plan, self.context))
        except QgsCsException:
            if len(xy) <= _FEW:
                return np.vstack([self._one(place) for place in xy])
            half = len(xy) // 2
            return np.vstack([self._through_qgis(xy[:half]), self._through_qgis(xy[half:])])
        return shapely.get_coordinates(shapely.from_wkb(line.asWkb().data()))[:-1]

    def _one(self, place: np.ndarray) -> np.ndarray:
        line = QgsGeometry()
        line.fromWkb(shapely.to_wkb(shapely.linestrings(np.vstack([place, place]))))
        try:
            line.transform(QgsCoordinateTransform(self.source, self.plan, self.context))
        except QgsCsException:
            return np.full((1, 2), np.nan)
        return shapely.get_coordinates(shapely.from_wkb(line.asWkb().data()))[:1]

    def shapes(self, shapes: np.ndarray) -> np.ndarray:
        """Shapes in the plan, heights as they were; None where a coordinate has no place there."""
        present = ~shapely.is_missing(shapes)
        own = shapes[present]
        xyz, row = shapely.get_coordinates(own, include_z=True, return_index=True)
        placed = self.place(xyz[:, :2])
        lost = np.isfinite(xyz[:, :2]).all(axis=1) & ~np.isfinite(placed).all(axis=1)
        out = np.full(len(shapes), None, dtype=object)
        made = own.copy()
        high = shapely.has_z(own)
        for flag in (True, False):  # shapely takes coordinates with heights or without, not both
            rows = np.flatnonzero(high == flag)
            if len(rows):
                part = np.isin(row, rows) if len(rows) < len(own) else slice(None)
                values = np.column_stack([placed[part], xyz[part, 2]]) if flag else placed[part]
                made[rows] = shapely.set_coordinates(own[rows].copy(), values)
        made[np.unique(row[lost])] = None
        out[present] = made
        return out
