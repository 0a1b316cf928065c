"""Which archives a project shows, and which of its layers belong to each. Needs no package beside QGIS."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from qgis.core import (
    QgsDataSourceUri,
    QgsProject,
    QgsProviderRegistry,
    QgsRasterLayer,
    QgsVectorLayer,
)

from ..schema.layers import LAYERS

_NAMES = tuple(layer.name for layer in LAYERS)


@dataclass(frozen=True)
class ArchiveLayers:
    """Layers of one archive by their names in the schema; `drains` is always among them. `place`: where it lies."""

    place: str
    layers: dict[str, QgsVectorLayer]

    @property
    def title(self) -> str:
        """What people call it: the name of the file without its ending, or of the database's schema."""
        return Path(self.place).stem or self.place

    @property
    def drains(self) -> QgsVectorLayer:
        return self.layers["drains"]


def archives_in(project: QgsProject) -> list[ArchiveLayers]:
    """Every archive whose drains the project holds, those first that lie higher in the tree of layers."""
    found: dict[str, dict[str, QgsVectorLayer]] = {}
    for layer in _in_order(project):
        place, name = place_of(layer)
        if name in _NAMES:
            found.setdefault(place, {}).setdefault(name, layer)
    return [ArchiveLayers(place, layers) for place, layers in found.items() if "drains" in layers]


def grounds_in(project: QgsProject) -> list[QgsRasterLayer]:
    """Rasters of one band that may be the ground, those first that lie higher in the tree of layers."""
    layers = [node.layer() for node in project.layerTreeRoot().findLayers()]
    return [layer for layer in layers if isinstance(layer, QgsRasterLayer) and layer.isValid()
            and layer.providerType() == "gdal" and layer.bandCount() == 1]


def place_of(layer: QgsVectorLayer) -> tuple[str, str]:
    """File, or database and schema, of a layer; and the name of its table there."""
    if layer.providerType() == "postgres":
        uri = QgsDataSourceUri(layer.source())
        return f"{uri.host()}:{uri.port()}/{uri.database()}/{uri.schema()}", uri.table()
    parts = QgsProviderRegistry.instance().decodeUri(layer.providerType(), layer.source())
    return str(parts.get("path") or layer.id()), str(parts.get("layerName") or "")


def _in_order(project: QgsProject) -> list[QgsVectorLayer]:
    layers = [node.layer() for node in project.layerTreeRoot().findLayers()]
    return [layer for layer in layers if isinstance(layer, QgsVectorLayer) and layer.isValid()]
