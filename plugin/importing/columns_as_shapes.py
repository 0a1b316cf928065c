"""Tables whose columns hold places: points, lines by their two ends, or shapes written as text."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from .answers import Answers
from .degrees import read_degrees
from .guess_fields import Match, match_fields
from .quantity import decimal_sign, read_figures
from .source import SourceLayer

LONGITUDE_LATITUDE = "longitude and latitude"
_ENDS = ("x_start", "y_start", "x_end", "y_end")


def with_shapes(layer: SourceLayer, answers: Answers) -> SourceLayer:
    """The layer with shapes from its columns, where it has none of its own.

    `crs` of the result is LONGITUDE_LATITUDE where the columns say so. Columns used are left in the layer for points,
    since a log is told by them; for lines they stay only in rows that no shape could be made of.
    """
    if len(layer) and not shapely.is_missing(layer.shapes).all():
        return layer
    lower = {name.lower() for name in layer.values}
    told = {m: own for m, own in answers.fields_of("points").items() if own.lower() in lower}
    found = {match.meaning: match for match in match_fields(layer, "points", told) if match.source}
    if all(meaning in found for meaning in _ENDS):
        used = [found[meaning] for meaning in _ENDS]
        return _without(layer, _lines(*_figures(layer, used)), used)
    if "wkt" in found:
        shapes = _from_text(layer.values[found["wkt"].source])
        if not shapely.is_missing(shapes).all():
            return _without(layer, shapes, [found["wkt"]])
    for x, y, crs in (("lon", "lat", LONGITUDE_LATITUDE), ("x", "y", "")):
        if x in found and y in found:
            shapes = _points(*_figures(layer, [found[x], found[y]]))
            if crs and not _in_degrees(shapes):
                crs = ""
            return replace(layer, shapes=shapes, crs=layer.crs or crs)
    return layer


def _figures(layer: SourceLayer, matches: list[Match]) -> list[np.ndarray]:
    """Coordinates of columns, which share their decimal sign; NaN where more is written than a figure."""
    columns = [layer.values[match.source] for match in matches]
    if matches[0].meaning in ("lon", "lat"):
        return [read_degrees(values) for values in columns]
    texts = (str(value) for values in columns if values.dtype == object for value in values)
    decimal = decimal_sign(texts)
    read = [read_figures(values, decimal) for values in columns]
    return [np.where(np.equal(one.rest, ""), one.value, np.nan) for one in read]


def _points(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    known = np.isfinite(x) & np.isfinite(y)
    shapes = np.full(len(x), None, dtype=object)
    shapes[known] = shapely.points(x[known], y[known])
    return shapes


def _lines(x1: np.ndarray, y1: np.ndarray, x2: np.ndarray, y2: np.ndarray) -> np.ndarray:
    known = np.isfinite(x1) & np.isfinite(y1) & np.isfinite(x2) & np.isfinite(y2)
    shapes = np.full(len(x1), None, dtype=object)
    ends = np.stack([np.column_stack([x1, y1]), np.column_stack([x2, y2])], axis=1)[known]
    shapes[known] = shapely.linestrings(ends)
    return shapes


def _from_text(values: np.ndarray) -> np.ndarray:
    texts = [None if value is None or value != value else str(value).rpartition(";")[2] for value in values]
    return shapely.from_wkt(np.array(texts, dtype=object), on_invalid="ignore")


def _in_degrees(shapes: np.ndarray) -> bool:
    xy = shapely.get_coordinates(shapes)
    return bool(len(xy) and (np.abs(xy) <= (180.0, 90.0)).all(axis=1).mean() > 0.9)


def _without(layer: SourceLayer, shapes: np.ndarray, matches: list[Match]) -> SourceLayer:
    used, made = {match.source for match in matches}, ~shapely.is_missing(shapes)
    values = {name: held for name, held in layer.values.items() if name not in used}
    if not made.all():
        left = {name: np.where(made, None, layer.values[name].astype(object)) for name in layer.values if name in used}
        values = {**values, **left}
    return replace(layer, shapes=shapes, values=values)
