"""From the engine's columns to QGIS features: unknown becomes NULL, metres become units of the CRS."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from qgis.core import QgsFeature, QgsFeatureSink, QgsFields, QgsGeometry

_AT_ONCE = 5000


def write_features(
    sink: QgsFeatureSink,
    fields: QgsFields,
    columns: dict[str, np.ndarray],
    shapes: np.ndarray | None = None,
    unit_m: float = 1.0,
    is_canceled: Callable[[], bool] = lambda: False,
) -> int:
    """Write rows of columns (in the order of `fields`) with shapes in metres; returns how many were written."""
    values = [_plain(columns[field.name()]) for field in fields]
    count = len(values[0]) if values else 0
    wkb = [None] * count if shapes is None else _wkb(shapes, unit_m)
    for begin in range(0, count, _AT_ONCE):
        if is_canceled():
            return begin
        batch = []
        rows = zip(*(column[begin : begin + _AT_ONCE] for column in values))
        for row, shape in zip(rows, wkb[begin : begin + _AT_ONCE]):
            feature = QgsFeature()
            feature.setAttributes(list(row))
            if shape is not None:
                geometry = QgsGeometry()
                geometry.fromWkb(shape)
                feature.setGeometry(geometry)
            batch.append(feature)
        sink.addFeatures(batch, QgsFeatureSink.Flag.FastInsert)
    return count


def _plain(column: np.ndarray) -> list:
    """Python values, None where a figure is NaN."""
    column = np.asarray(column)
    if column.dtype.kind == "f":
        values = column.astype(object)
        values[np.isnan(column)] = None
        return values.tolist()
    return column.tolist()


def _wkb(shapes: np.ndarray, unit_m: float) -> list:
    shapes = np.asarray(shapes, dtype=object)
    if unit_m != 1.0:
        shapes = shapely.transform(shapes, lambda xy: xy / unit_m)
    return shapely.to_wkb(shapes, include_srid=False).tolist()
