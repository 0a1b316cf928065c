"""From an opened layer to the archive it lies in."""

from __future__ import annotations

from pathlib import Path

from qgis.core import QgsDataSourceUri, QgsProviderRegistry, QgsVectorLayer

from .database_place import DatabasePlace


def place_of(opened: QgsVectorLayer) -> Path | DatabasePlace | None:
    """The GeoPackage, or the schema of a database, that a layer lies in; None for any other layer."""
    database = DatabasePlace.of_layer(opened)
    if database is not None or opened.providerType() != "ogr":
        return database
    path = QgsProviderRegistry.instance().decodeUri("ogr", opened.source()).get("path") or ""
    return Path(path) if path.lower().endswith(".gpkg") and Path(path).is_file() else None


def table_of(opened: QgsVectorLayer) -> str:
    """The name a layer's table has in its file or schema."""
    if DatabasePlace.of_layer(opened) is not None:
        return QgsDataSourceUri(opened.source()).table()
    return QgsProviderRegistry.instance().decodeUri("ogr", opened.source()).get("layerName") or ""


def drains_file(opened: QgsVectorLayer | None) -> str:
    """The GeoPackage whose table of drains a layer is; '' for any other layer."""
    place = None if opened is None else place_of(opened)
    return str(place) if isinstance(place, Path) and table_of(opened) == "drains" else ""
