"""From QGIS feature sources to the engine's frames: NULL becomes unknown, figures become SI.

Layers are read through QGIS, so edits that are not saved, filters and joins count as QGIS shows them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import geopandas
import numpy as np
import pandas
import shapely
from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransformContext,
    QgsFeatureRequest,
    QgsFeatureSource,
    QgsGeometry,
    QgsWkbTypes,
)

from ..bulk import many_objects
from ..network.parts import in_parts
from ..schema import layer as schema_layer
from ..units import Units
from .crs import unit_m


@dataclass(frozen=True)
class Frame:
    """Where things are read into: the CRS all is brought to, the size of its unit, and the units of the figures."""

    crs: QgsCoordinateReferenceSystem
    transform_context: QgsCoordinateTransformContext
    units: Units

    @property
    def unit_m(self) -> float:
        return unit_m(self.crs)


_KINDS = ("text", "real", "integer", "boolean")  # the engine asks for no dates


class ReadCanceledError(Exception):
    """The user stopped the reading."""


def read_layer(
    source: QgsFeatureSource,
    layer_name: str,
    frame: Frame,
    renamed: dict[str, str] | None = None,
    is_canceled: Callable[[], bool] = lambda: False,
    plain_source: str = "",
    say: Callable[[str], None] = lambda sentence: None,
) -> geopandas.GeoDataFrame:
    """A layer under the archive's field names, in metres and SI; the index is the feature's own number.

    `layer_name` is the archive's layer it stands for; fields it lacks are left out, so unknown. `renamed` gives,
    for a field of the archive, the name it has in this source. `plain_source`: the source of a layer whose file
    says what QGIS shows (arrow.is_plain) in the CRS of `frame`, so that it may be read in bulk. `say` is told of text
    where figures should be; it counts as unknown.
    """
    declared = {field.name: field for field in schema_layer(layer_name).fields if field.kind in _KINDS}
    wanted = {name: (renamed or {}).get(name) or name for name in declared}
    present = {name: source.fields().lookupField(own) for name, own in wanted.items()}
    present = {name: index for name, index in present.items() if index >= 0}
    if plain_source:
        from .arrow import read_columns

        own = {name: source.fields().at(index).name() for name, index in present.items()}
        read = read_columns(plain_source, list(own.values()))
        if read is not None:
            values = {name: read.values[own[name]] for name in present}
            return _frame(values, declared, read.numbers, read.wkb, source.sourceName(), frame, say)
    rows, numbers, geometry = _rows(source, list(present.values()), frame, is_canceled)
    by_index = list(zip(*rows))
    values = {name: by_index[index] if by_index else () for name, index in present.items()}
    return _frame(values, declared, numbers, geometry, source.sourceName(), frame, say)


def _frame(
    values: dict[str, Sequence], declared: dict[str, object], numbers: Sequence, wkb: Sequence, layer: str,
    frame: Frame, say: Callable[[str], None],
) -> geopandas.GeoDataFrame:
    columns = {name: _column(column, declared[name], frame.units) for name, column in values.items()}
    for name, column in values.items():
        if declared[name].kind in ("real", "integer"):
            _tell_of_text(column, columns[name], name, numbers, layer, say)
    with many_objects():
        shapes = _to_metres(in_parts(shapely.from_wkb, np.asarray(wkb, dtype=object)), frame)
    return geopandas.GeoDataFrame(columns, geometry=shapes, index=numbers)


def _tell_of_text(
    values: Sequence, figures: np.ndarray, name: str, numbers: Sequence, layer: str, say: Callable[[str], None]
) -> None:
    """One sentence a column with text that is no figure."""
    if isinstance(values, np.ndarray) and values.dtype.kind == "f":
        return
    unread = [k for k, value in enumerate(values) if type(value) is str and value.strip() and np.isnan(figures[k])]
    if unread:
        first, more = unread[0], f" and {len(unread) - 1:,} more" if len(unread) > 1 else ""
        say(
            f"The layer '{layer}' has '{values[first]}' for {name} in feature {numbers[first]}{more}: that is no "
            "figure and counts as unknown; write a number or leave it empty."
        )


def _rows(
    source: QgsFeatureSource, attributes: list[int], frame: Frame, is_canceled: Callable[[], bool]
) -> tuple[list[list], list[int], list[bytes | None]]:
    """Attributes of all features (those not wanted are not fetched), their numbers, and their shapes as WKB."""
    request = QgsFeatureRequest()
    request.setSubsetOfAttributes(attributes)
    request.setDestinationCrs(frame.crs, frame.transform_context)
    request.setInvalidGeometryCheck(QgsFeatureRequest.InvalidGeometryCheck.GeometryNoCheck)
    curved = QgsWkbTypes.isCurvedType(source.wkbType()) or QgsWkbTypes.flatType(source.wkbType()) in (
        QgsWkbTypes.Type.Unknown, QgsWkbTypes.Type.GeometryCollection,
    )
    rows, numbers, geometry = [], [], []
    for feature in source.getFeatures(request):
        if not len(rows) % 1000 and is_canceled():
            raise ReadCanceledError
        rows.append(feature.attributes())
        numbers.append(feature.id())
        shape = feature.geometry()
        if curved and not shape.isNull():
            shape = _straight(shape)
        geometry.append(shape.asWkb().data() or None)  # no geometry gives no bytes
    return rows, numbers, geometry


def _straight(shape: QgsGeometry) -> QgsGeometry:
    """Types that may hold arcs as straight segments; other geometries as they are."""
    return QgsGeometry(shape.constGet().segmentize()) if QgsWkbTypes.isCurvedType(shape.wkbType()) else shape


def _column(values: Sequence, field: object, units: Units) -> np.ndarray | pandas.Categorical:
    """Figures in SI with NaN, words with None or by kinds."""
    if field.kind not in ("real", "integer"):
        if isinstance(values, pandas.Categorical):
            return values
        return np.array([v if type(v) is str else _word(v) for v in values], dtype=object)
    size = {
        "length": units.length_m, "diameter": units.diameter_m, "area": units.area_m2, "flow": units.flow_m3_s,
        "coefficient": units.coefficient_m_s,
    }.get(field.unit, 1.0)
    if isinstance(values, np.ndarray) and values.dtype.kind == "f":
        return values * size
    return np.array([v if type(v) is float else _number(v) for v in values], dtype=float) * size


def _word(value: object) -> str | None:
    """A key or word as brought; a whole number in a column of reals without its point."""
    if value is None or value == NULL or (isinstance(value, float) and value != value):
        return None
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)


def _number(value: object) -> float:
    """A figure, also from a text column somebody brought; NULL and text that is no figure are unknown."""
    try:
        return float("nan") if value == NULL else float(value)
    except (TypeError, ValueError):
        return float("nan")


def _to_metres(shapes: np.ndarray, frame: Frame) -> np.ndarray:
    """Plan coordinates by the unit of the CRS, drawn elevations by the unit of lengths."""
    shapes = np.asarray(shapes, dtype=object)
    has_z = bool(shapely.has_z(shapes).any())
    if frame.unit_m == 1.0 and not has_z:
        return shapes
    size = np.array([frame.unit_m, frame.unit_m, frame.units.length_m])[: 3 if has_z else 2]
    return shapely.transform(shapes, lambda xyz: xyz * size, include_z=has_z)


def read_rows(source: QgsFeatureSource) -> list[dict]:
    """Rows of a table without geometry as they are, NULL as None."""
    names = source.fields().names()
    rows = (feature.attributes() for feature in source.getFeatures())
    return [{n: None if v == NULL else v for n, v in zip(names, values)} for values in rows]
