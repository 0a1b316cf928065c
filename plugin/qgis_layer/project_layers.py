"""Which archives a project shows, and which of its layers belong to each. Needs no package beside QGIS."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from qgis.core import QgsProject, QgsRasterLayer, QgsVectorLayer

from ..schema.layers import LAYERS
from .archive_place import place_of, table_of
from .database_place import DatabasePlace

ASKED = ("drains", "structures", "shots", "land", "trees", "tree_rows", "woods")
"""Layers that answers come from, by their names in the schema."""

_NAMES = tuple(layer.name for layer in LAYERS)


@dataclass(frozen=True)
class ArchiveLayers:
    """Layers of one archive by their names in the schema; `drains` is always among them. `place`: where it lies."""

    place: Path | DatabasePlace
    layers: dict[str, QgsVectorLayer]

    @property
    def title(self) -> str:
        """What people call it: the name of the file without its ending, or of the database's schema."""
        return self.place.schema if isinstance(self.place, DatabasePlace) else self.place.stem

    @property
    def drains(self) -> QgsVectorLayer:
        return self.layers["drains"]


def archives_in(project: QgsProject) -> list[ArchiveLayers]:
    """Every archive whose drains the project holds, those first that lie higher in the tree of layers."""
    found: dict[Path | DatabasePlace, dict[str, QgsVectorLayer]] = {}
    for layer in _in_order(project):
        place, name = place_of(layer), table_of(layer)
        if place is not None and name in _NAMES:
            found.setdefault(place, {}).setdefault(name, layer)
    return [ArchiveLayers(place, layers) for place, layers in found.items() if "drains" in layers]


def grounds_in(project: QgsProject) -> list[QgsRasterLayer]:
    """Rasters of one band that may be the ground, those first that lie higher in the tree of layers."""
    layers = [node.layer() for node in project.layerTreeRoot().findLayers()]
    return [layer for layer in layers if isinstance(layer, QgsRasterLayer) and layer.isValid()
            and layer.providerType() == "gdal" and layer.bandCount() == 1]


def _in_order(project: QgsProject) -> list[QgsVectorLayer]:
    layers = [node.layer() for node in project.layerTreeRoot().findLayers()]
    return [layer for layer in layers if isinstance(layer, QgsVectorLayer) and layer.isValid()]
