"""Small archives that several people edit, in a file and in a database."""

from __future__ import annotations

from pathlib import Path

from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.plugin.qgis_layer.database_archive import create_database_archive
from qgis.core import QgsCoordinateReferenceSystem, QgsFeature, QgsGeometry

FEET = "EPSG:3734"
PLACES = {
    "drains": "LineString(2100000 800000, 2100100 800000)",
    "moved": "LineString(2100000 800000, 2100100 800050)",
    "moved too": "LineString(2100000 800000, 2100100 800070)",
}


def fill(place):
    """Three drains A, B, C; a database gets its archive first."""
    if not isinstance(place, Path):
        create_database_archive(place, QgsCoordinateReferenceSystem(FEET))
    drains = open_layer(place, "drains")
    rows = []
    for key in "ABC":
        row = QgsFeature(drains.fields())
        row["drain_id"], row["role"], row["diameter"] = key, "main", 4.0
        row.setGeometry(QgsGeometry.fromWkt(PLACES["drains"]))
        rows.append(row)
    assert drains.dataProvider().addFeatures(rows)[0]
