"""From the engine's columns to layers of QGIS: unknown becomes NULL, metres become units of the CRS.

New GeoPackages are filled in bulk (geopackage.py), any other kind of layer feature by feature. A temporary layer is
kept in memory while it is small, as QGIS keeps its own; a large one lies in a GeoPackage in Processing's temporary
folder, which QGIS clears away when it closes.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import repeat
from pathlib import Path

import numpy as np
import shapely
from qgis.core import (
    QgsCoordinateTransformContext,
    QgsFeature,
    QgsFeatureSink,
    QgsFields,
    QgsGeometry,
    QgsProcessingUtils,
    QgsProviderRegistry,
    QgsVectorFileWriter,
    QgsVectorLayer,
)

from . import geopackage
from .rows import Rows, in_units

# a feature in memory takes about 1.5 kB and 20 µs to get there: beyond this, 30 MB and half a second
LARGE = 20_000
_AT_ONCE, _PART = 500, 10_000

Progress = Callable[[float], None]


def new_geopackage(destination: str) -> Path | None:
    """The file of a sink that QGIS is making, where that is a GeoPackage with nothing else in it."""
    parts = QgsProviderRegistry.instance().decodeUri("ogr", destination)
    path = Path(parts.get("path") or "")
    return path if path.suffix.lower() == ".gpkg" and not parts.get("layerName") and path.is_file() else None


def move_to_file(layer: QgsVectorLayer, name: str, rows: Rows, unit_m: float, progress: Progress, is_canceled) -> bool:
    """Make an empty temporary layer in memory one in a file with `rows`; it stays the same layer to QGIS.

    False if canceled; OSError with the reason if it cannot be done.
    """
    path = QgsProcessingUtils.generateTempFilename(f"{name}.gpkg")
    crs, kind, options = layer.crs(), layer.wkbType(), QgsVectorFileWriter.SaveVectorOptions()
    options.driverName = "GPKG"
    writer = QgsVectorFileWriter.create(path, layer.fields(), kind, crs, QgsCoordinateTransformContext(), options)
    if writer.hasError() != QgsVectorFileWriter.WriterError.NoError:
        raise OSError(writer.errorMessage())
    del writer  # closes the file
    if not geopackage.fill(Path(path), rows, unit_m, progress, is_canceled):
        return False
    layer.setDataSource(path, layer.name(), "ogr")
    layer.setCrs(crs)
    return True


def write_features(
    sink: QgsFeatureSink, fields: QgsFields, rows: Rows, unit_m: float, progress: Progress, is_canceled
) -> bool:
    """Write rows with `fields` and shapes in metres feature by feature; False if canceled.

    Raises OSError with the sink's own words where it takes no more.
    """
    batch = [QgsFeature() for _ in range(_AT_ONCE)]  # the sink keeps copies
    for part in rows.parts(_PART):
        columns, shapes = rows.part(part)
        values = zip(*(_plain(columns[field.name()]) for field in fields))
        wkb = repeat(None) if shapes is None else _wkb(shapes, unit_m)
        held = 0
        for row, shape in zip(values, wkb):
            batch[held].setAttributes(list(row))
            geometry = QgsGeometry()
            if shape is not None:
                geometry.fromWkb(shape)
            batch[held].setGeometry(geometry)
            held += 1
            if held == _AT_ONCE:
                if is_canceled():
                    return False
                _add(sink, batch)
                held = 0
        _add(sink, batch[:held])
        progress(part.stop / rows.count)
    return True


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
    # inside the QGIS program itself shapely may run on QGIS's older GEOS, which refuses its default of 4 dimensions
    return shapely.to_wkb(in_units(shapes, unit_m), output_dimension=3, include_srid=False).tolist()
