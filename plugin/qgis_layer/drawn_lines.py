"""Drains of a layer as drawn lines with the figures of their ends, and back."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator

from qgis.core import (
    NULL,
    QgsExpression,
    QgsFeature,
    QgsFeatureRequest,
    QgsFeatureSource,
    QgsGeometry,
    QgsLineString,
    QgsPoint,
    QgsVectorLayer,
    QgsWkbTypes,
)

from ..drain_edits.drawn import ENDS, Drawn
from ..schema import layer as schema_layer
from .row_values import kinds_of, plain_value

KEY = "drain_id"
_KINDS = kinds_of(schema_layer("drains"))
_READ = (KEY, "name", "diameter", "located_by", "invert_error", "note", *ENDS)


def columns_of(layer: QgsVectorLayer) -> list[str]:
    """The columns that a drawn line is read with, as far as a layer has them."""
    return [name for name in _READ if name in layer.fields().names()]


def read_drawn(layer: QgsVectorLayer, source: QgsFeatureSource, numbers: Collection[int]) -> dict[int, Drawn | None]:
    """Rows of a layer by their numbers, in one request to it or to its data provider (`source`); None for a row that
    is not there, or that is no line of one part."""
    found: dict[int, Drawn | None] = dict.fromkeys(numbers)
    columns = columns_of(layer)
    request = QgsFeatureRequest().setFilterFids(list(numbers)).setSubsetOfAttributes(columns, layer.fields())
    for feature in source.getFeatures(request) if found else ():
        found[feature.id()] = drawn_of(feature, columns)
    return found


def drawn_of(feature: QgsFeature, columns: Collection[str]) -> Drawn | None:
    """None where it is no line of one part."""
    shape = feature.geometry()
    parts = list(shape.constParts()) if not shape.isNull() else []
    if len(parts) != 1 or not isinstance(parts[0], QgsLineString) or parts[0].numPoints() < 2:
        return None
    points, has_z = parts[0].points(), parts[0].is3D()
    # one and the same nan for what is not drawn, so that equal lines compare as equal
    places = ((at.x(), at.y(), *([at.z() if at.z() == at.z() else math.nan] if has_z else [])) for at in points)
    return Drawn(tuple(places), {name: plain_value(feature[name], _KINDS[name]) for name in columns})


def shape_of(drawn: Drawn, layer: QgsVectorLayer) -> QgsGeometry:
    """The line as a layer keeps it."""
    shape = QgsGeometry(QgsLineString([QgsPoint(*place) for place in drawn.places]))
    if QgsWkbTypes.isMultiType(layer.wkbType()):
        shape.convertToMultiType()
    return shape


def stored(value: object) -> object:
    """A value as a layer takes it."""
    return NULL if value is None else value


def rows_with(layer: QgsVectorLayer, column: str, value: str) -> Iterator[QgsFeature]:
    """Rows in which a column has a value; edits that are not saved included."""
    if column not in layer.fields().names():
        return iter(())
    return layer.getFeatures(QgsFeatureRequest().setFilterExpression(
        QgsExpression.createFieldEqualityExpression(column, value)))
