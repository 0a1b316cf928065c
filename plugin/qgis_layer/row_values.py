"""Rows of an archive as plain values, whether they come from a layer or from the history."""

from __future__ import annotations

from collections.abc import Mapping

from qgis.core import NULL, QgsFeature, QgsGeometry
from qgis.PyQt.QtCore import QDate, QDateTime, Qt

from ..schema import Layer
from ..schema.history import GEOMETRY
from ..schema.kept_rows import read_kept_row, well_known_binary
from ..sharing.three_way import plain


def kinds_of(layer: Layer) -> dict[str, str]:
    """Field -> its kind, the geometry aside."""
    return {field.name: field.kind for field in layer.fields}


def as_iso(value: object) -> object:
    """A value as QGIS gives it, days and moments as ISO 8601 to the second; None for unknown."""
    if isinstance(value, (QDate, QDateTime)):
        return value.toString(Qt.DateFormat.ISODate) if value.isValid() else None
    return None if value is None or value == NULL else value


def plain_value(value: object, kind: str) -> object:
    """A value as QGIS gives it, made comparable."""
    if value is None or value == NULL:
        return None
    if isinstance(value, (QDate, QDateTime)):
        value = value.toString(Qt.DateFormat.ISODateWithMs)
    return plain(value, kind)


def plain_shape(shape: QgsGeometry) -> object:
    """A geometry made comparable: its well-known binary; None if there is none."""
    return None if shape.isNull() else bytes(shape.asWkb())


def plain_feature(feature: QgsFeature, layer: Layer) -> dict[str, object]:
    """Every declared field that the feature has, and the geometry of a layer with places."""
    names = feature.fields().names()
    row = {name: plain_value(feature[name], kind) for name, kind in kinds_of(layer).items() if name in names}
    if layer.geometry:
        row[GEOMETRY] = plain_shape(feature.geometry())
    return row


def plain_kept(before: str, layer: Layer) -> dict[str, object]:
    """A row that the history kept."""
    return plain_stored(read_kept_row(before), layer)


def plain_stored(columns: Mapping[str, object], layer: Layer) -> dict[str, object]:
    """A row as the table holds it, the declared fields and the geometry."""
    kinds = kinds_of(layer)
    row: dict[str, object] = {name: plain(value, kinds[name]) for name, value in columns.items() if name in kinds}
    if layer.geometry:
        row[GEOMETRY] = _shape(columns.get(GEOMETRY))
    return row


def _shape(data: object) -> object:
    if data is None:
        return None
    shape = QgsGeometry()
    shape.fromWkb(well_known_binary(data))
    return plain_shape(shape)
