"""From the engine's columns to QGIS features: unknown becomes NULL, metres become units of the CRS."""

from __future__ import annotations

from collections.abc import Callable
from itertools import repeat

import numpy as np
import shapely
from qgis.core import QgsFeature, QgsFeatureSink, QgsFields, QgsGeometry

_AT_ONCE = 500


def write_features(
    sink: QgsFeatureSink,
    fields: QgsFields,
    columns: dict[str, np.ndarray],
    shapes: np.ndarray | None = None,
    unit_m: float = 1.0,
    is_canceled: Callable[[], bool] = lambda: False,
) -> int:
    """Write rows of columns (in the order of `fields`) with shapes in metres; returns how many were written.

    Raises OSError with the sink's own words where it takes no more.
    """
    values = [_plain(columns[field.name()]) for field in fields]
    rows = zip(*values)
    wkb = repeat(None) if shapes is None else _wkb(shapes, unit_m)
    batch, held, written = [QgsFeature() for _ in range(_AT_ONCE)], 0, 0  # the sink keeps copies
    for row, shape in zip(rows, wkb):
        batch[held].setAttributes(list(row))
        geometry = QgsGeometry()
        if shape is not None:
            geometry.fromWkb(shape)
        batch[held].setGeometry(geometry)
        held += 1
        if held == _AT_ONCE:
            if is_canceled():
                return written
            _add(sink, batch)
            held, written = 0, written + held
    _add(sink, batch[:held])
    return written + held


def _add(sink: QgsFeatureSink, features: list[QgsFeature]) -> None:
    if features and not sink.addFeatures(features, QgsFeatureSink.Flag.FastInsert):
        raise OSError(sink.lastError())


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
    # inside the QGIS program itself shapely may run on QGIS's older GEOS, which refuses its default of 4 dimensions
    return shapely.to_wkb(shapes, output_dimension=3, include_srid=False).tolist()
