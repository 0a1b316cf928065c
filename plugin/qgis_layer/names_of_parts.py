"""Rows that name a drain which was cut or turned: they name the part they lie on, and its stations."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from qgis.core import QgsCoordinateTransform, QgsFeature, QgsPointXY, QgsProject, QgsVectorLayer

from ..drain_edits.drawn import Drawn
from ..drain_edits.flip import turned_span
from ..history.parts import Part, part_at, span_on
from ..schema import layer as schema_layer
from .archive_edit import into_edit_mode
from .drawn_lines import KEY, rows_with, stored
from .row_values import plain_value

_AT_POINTS = ("shots", "repairs")
_SPANS = "accepted"
_STATIONS = ("station_from", "station_to")
Values = dict  # column -> value


def move_names(
    layers: dict[str, QgsVectorLayer], whole: Drawn, parts: Sequence[Drawn], unit: float, title: str
) -> list[str]:
    """Shots, repairs and accepted findings of a drain that was cut, in one edit command a layer; what was done."""
    way, made, at = whole.way, [], 0.0
    for part in parts:
        made.append(Part(part.row.get(KEY), at, at + part.way.length, is_old=False))
        at = made[-1].end
    drains_crs = layers["drains"].crs()
    said = []
    for name in _AT_POINTS:
        layer = layers.get(name)
        if layer is not None:
            move = QgsCoordinateTransform(layer.crs(), drains_crs, QgsProject.instance())
            said += _edit(layer, name, [whole], lambda row, _, move=move: _part_under(row, way, made, move), title)
    return said + _edit(layers.get(_SPANS), _SPANS, [whole], lambda row, _: _span_under(row, made, unit), title)


def turn_stations(layers: dict[str, QgsVectorLayer], turned: Sequence[Drawn], unit: float, title: str) -> list[str]:
    """Accepted findings of drains that were turned: their stations run from the other end."""
    return _edit(layers.get(_SPANS), _SPANS, turned, lambda row, drawn: dict(zip(
        _STATIONS, turned_span(*_stations(row), drawn.way.length / unit))), title)


def _part_under(row: QgsFeature, way, parts: Sequence[Part], move: QgsCoordinateTransform) -> Values:
    shape = row.geometry()
    if shape.isNull():
        return {}
    point: QgsPointXY = move.transform(shape.asPoint())
    return {KEY: part_at(parts, way.nearest((point.x(), point.y()))[1]).key}


def _span_under(row: QgsFeature, parts: Sequence[Part], unit: float) -> Values:
    on = span_on(parts, *(None if at is None else at * unit for at in _stations(row)))
    if on is None:
        return {}
    part, first, last = on
    return {KEY: part.key, **dict(zip(_STATIONS, (first / unit, last / unit)))}


def _stations(row: QgsFeature) -> list[float | None]:
    return [plain_value(row[name], "real") for name in _STATIONS]


def _edit(
    layer: QgsVectorLayer | None, name: str, drains: Sequence[Drawn], values_of: Callable[[QgsFeature, Drawn], Values],
    title: str,
) -> list[str]:
    """Write what `values_of` gives for every row that names one of the drains, where it is another value."""
    if layer is None:
        return []
    found = {}
    for drawn in drains:
        for row in rows_with(layer, KEY, drawn.row.get(KEY)) if drawn.row.get(KEY) is not None else ():
            changed = {column: value for column, value in values_of(row, drawn).items()
                       if plain_value(row[column], "text" if column == KEY else "real") != value}
            if changed:
                found[row.id()] = changed
    if not found:
        return []
    titles = schema_layer(name).title.lower()
    if not into_edit_mode(layer):
        return [f"The layer '{layer.name()}' is read-only: {len(found):,} of its rows still name the whole drain."]
    layer.beginEditCommand(title)
    for number, changed in found.items():
        for column, value in changed.items():
            layer.changeAttributeValue(number, layer.fields().lookupField(column), stored(value))
    layer.endEditCommand()
    return [f"{titles}: {len(found):,} moved along (layer '{layer.name()}', not saved either)"]
