"""Memory layers for tests, from the rows of builders.py; figures stay in the units of the layer."""

from __future__ import annotations

import shapely
from qgis.core import QgsFeature, QgsField, QgsGeometry, QgsVectorLayer
from qgis.PyQt.QtCore import QVariant

_KINDS = {"Point": "Point", "LineString": "LineString", "MultiLineString": "MultiLineString", "Polygon": "Polygon"}


def layer(
    rows: list[dict], crs: str, name: str = "layer", scale: float = 1.0, origin: tuple = (0.0, 0.0)
) -> QgsVectorLayer:
    """A memory layer; coordinates are `origin` + `scale` x those of the rows."""
    first = next((row["geometry"] for row in rows if row["geometry"] is not None), shapely.LineString())
    kind = _KINDS[first.geom_type] + ("Z" if first.has_z else "")
    made = QgsVectorLayer(f"{kind}?crs={crs}", name, "memory")
    columns = list(dict.fromkeys(column for row in rows for column in row if column != "geometry"))
    texts = {c for c in columns if any(isinstance(row.get(c), str) for row in rows)}
    types = [QgsField(c, QVariant.String if c in texts else QVariant.Double) for c in columns]
    made.dataProvider().addAttributes(types)
    made.updateFields()
    features = []
    for row in rows:
        feature = QgsFeature(made.fields())
        feature.setAttributes([row.get(c) for c in columns])
        if row["geometry"] is not None:
            shape = shapely.transform(row["geometry"], lambda xy: xy * scale + origin)
            if row["geometry"].has_z:
                shape = row["geometry"]
            geometry = QgsGeometry()
            geometry.fromWkb(shapely.to_wkb(shape))
            feature.setGeometry(geometry)
        features.append(feature)
    made.dataProvider().addFeatures(features)
    made.updateExtents()
    return made


def rows_of(result: object) -> list[dict]:
    """Attributes of a result layer as dicts."""
    names = result.fields().names()
    return [dict(zip(names, feature.attributes())) for feature in result.getFeatures()]
