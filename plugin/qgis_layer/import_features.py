"""A layer of the project as the engine takes it in: as QGIS shows it, feature by feature."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from qgis.core import NULL, QgsFeatureRequest, QgsFeatureSource, QgsGeometry, QgsWkbTypes
from qgis.PyQt.QtCore import Qt

from ..importing.source import Source, SourceLayer
from .import_columns import ReadStoppedError, shapes_of
from .import_file import ReadFile


def read_features(
    source: QgsFeatureSource, name: str, format_words: str, is_canceled: Callable[[], bool],
    progress: Callable[[float], None],
) -> ReadFile:
    """A layer as QGIS shows it: edits that are not saved, filters, selections and joins count."""
    fields = source.fields()
    rows, wkb, numbers = [], [], []
    request = QgsFeatureRequest()
    request.setInvalidGeometryCheck(QgsFeatureRequest.InvalidGeometryCheck.GeometryNoCheck)
    total = max(source.featureCount(), 1)
    for feature in source.getFeatures(request):
        if not len(rows) % 1000:
            if is_canceled():
                raise ReadStoppedError
            progress(min(len(rows) / total, 1.0))
        rows.append(feature.attributes())
        numbers.append(feature.id())
        wkb.append(_shape_wkb(feature.geometry()))
    columns = list(zip(*rows)) or [()] * fields.count()
    values = {field.name(): _qgis_column(column, field.isNumeric()) for field, column in zip(fields, columns)}
    shapes = np.full(len(rows), None, dtype=object)
    if rows:
        shapes[:] = shapes_of(np.array([*wkb, None], dtype=object))[:-1]
        shapes[shapely.is_empty(shapes)] = None
    layer = SourceLayer(name, values, shapes, np.array(numbers, dtype=np.int64), "feature")
    return ReadFile(Source(name, format_words, (layer,)), (source.sourceCrs(),))


def _shape_wkb(shape: QgsGeometry) -> bytes | None:
    if shape.isNull():
        return None
    if QgsWkbTypes.isCurvedType(shape.wkbType()):
        shape = QgsGeometry(shape.constGet().segmentize())
    return shape.asWkb().data() or None


def _qgis_column(column: tuple, numeric: bool) -> np.ndarray:
    """Figures with NaN, else words with None; days as ISO text."""
    values = [None if value is None or value == NULL else value for value in column]
    if numeric:
        return np.array([np.nan if value is None else float(value) for value in values], dtype=float)
    return np.array([_word(value) for value in values], dtype=object)


def _word(value: object) -> str | None:
    if value is None or isinstance(value, str):
        return value or None
    if hasattr(value, "toString"):  # days and times of Qt
        return value.toString(Qt.DateFormat.ISODate) or None
    return str(value)
