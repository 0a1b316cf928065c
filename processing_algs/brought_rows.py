"""Rows of a layout as they were brought, for writing them into an archive: by its fields, in its units and CRS."""

from __future__ import annotations

import json
from collections.abc import Mapping

from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsCoordinateTransformContext,
    QgsFeature,
    QgsFeatureSource,
    QgsGeometry,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QDate, QDateTime, Qt, QTime

from ..plugin.compare.brought import BroughtRow
from ..plugin.schema import Field, layer
from ..plugin.units import Units


def brought_rows(
    source: QgsFeatureSource, name: str, crs: QgsCoordinateReferenceSystem, transform: QgsCoordinateTransformContext,
    own_units: Units, archive_units: Units, renamed: Mapping[str, str],
) -> list[BroughtRow]:
    """All rows of a source that stands for the archive's layer `name`, in the order QGIS gives them.

    `renamed` gives, for a field of the archive, its name in the source. Coordinates are those of the source where its
    CRS is that of the archive.
    """
    fields = {
        field: source.fields().lookupField(renamed.get(field.name, field.name)) for field in layer(name).fields
    }
    present = {field: index for field, index in fields.items() if index >= 0}
    way = QgsCoordinateTransform(source.sourceCrs(), crs, transform)
    made = []
    for feature in source.getFeatures():
        attributes = feature.attributes()
        values = {
            field.name: _value(attributes[index], field, own_units, archive_units) for field, index in present.items()
        }
        made.append(BroughtRow(feature.id(), values, _shape(feature, way), _as_brought(feature, source)))
    return made


def _value(value: object, field: Field, own_units: Units, archive_units: Units) -> object:
    """As the archive keeps it; None where unknown, or where a figure is no number."""
    if value is None or value == NULL:
        return None
    if isinstance(value, (QDate, QDateTime)):
        return value.toString(Qt.DateFormat.ISODate)
    if field.kind in ("real", "integer", "boolean"):
        return _figure(value, field, own_units, archive_units)
    if isinstance(value, float) and value.is_integer():
        value = int(value)  # a key in a column of reals
    return str(value).strip() or None


def _figure(value: object, field: Field, own_units: Units, archive_units: Units) -> object:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return None
    if number != number:
        return None
    if field.kind != "real":
        return int(number)
    if not field.unit or own_units.size_si(field.unit) == archive_units.size_si(field.unit):
        return number
    return number * own_units.size_si(field.unit) / archive_units.size_si(field.unit)


def _shape(feature: QgsFeature, way: QgsCoordinateTransform) -> bytes | None:
    """One point or one line without heights; None for anything else."""
    shape = QgsGeometry(feature.geometry())
    if shape.isNull() or shape.isEmpty():
        return None
    if QgsWkbTypes.isCurvedType(shape.wkbType()):
        shape = QgsGeometry(shape.constGet().segmentize())
    if shape.isMultipart():
        parts = shape.asGeometryCollection()
        if len(parts) != 1:
            return None
        shape = parts[0]
    if not way.isShortCircuited():
        shape.transform(way)
    shape.get().dropZValue()
    shape.get().dropMValue()
    return bytes(shape.asWkb())


def _as_brought(feature: QgsFeature, source: QgsFeatureSource) -> str:
    """All fields and the shape, with all digits, as JSON."""
    values = {name: _plain(value) for name, value in zip(source.fields().names(), feature.attributes())}
    shape = feature.geometry()
    crs = source.sourceCrs()
    return json.dumps({
        "fields": values,
        "shape": None if shape.isNull() else bytes(shape.asWkb()).hex(),
        "crs": crs.authid() or crs.toWkt(QgsCoordinateReferenceSystem.WktVariant.WKT2_2019),
    }, ensure_ascii=False)  # fmt: skip


def _plain(value: object) -> object:
    if value is None or value == NULL:
        return None
    if isinstance(value, (QDate, QDateTime, QTime)):
        return value.toString(Qt.DateFormat.ISODateWithMs)
    if isinstance(value, (bool, int, float, str)):
        return value
    return bytes(value).hex() if isinstance(value, (bytes, bytearray)) else str(value)
