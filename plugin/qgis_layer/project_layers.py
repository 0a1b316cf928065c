"""Which archives a project shows, and which of its layers belong to each. Needs no package beside QGIS."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from qgis.core import QgsProject, QgsRasterLayer, QgsVectorLayer

from ..schema.layers import LAYERS
from .archive_place import place_of, table_of
from .database_place import DatabasePlace

TREES = ("trees", "tree_rows", "woods")
ASKED = ("drains", "structures", "shots", "land", *TREES)
"""Layers that answers come from, by their names in the schema."""

BY_HAND = "chosen by hand"

_SCOPE = "fallkeeper"
_NAMES = tuple(layer.name for layer in LAYERS)


@dataclass(frozen=True)
class ArchiveLayers:
    """Layers of one archive by their names in the schema; `drains` is always among them.

    `place`: where it lies; BY_HAND where somebody chose layers from anywhere.
    """

    place: Path | DatabasePlace | str
    layers: dict[str, QgsVectorLayer]

    @property
    def title(self) -> str:
        """What people call it: the name of the file without its ending, or of the database's schema."""
        if isinstance(self.place, str):
            return f"{self.drains.name()} (layers chosen by hand)"
        return self.place.schema if isinstance(self.place, DatabasePlace) else self.place.stem

    @property
    def where(self) -> str:
        """What tells it from another with the same title."""
        return str(self.place.parent if isinstance(self.place, Path) else self.place)

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
    archives = [ArchiveLayers(place, layers) for place, layers in found.items() if "drains" in layers]
    by_hand = _by_hand(project)
    return [*archives, by_hand] if by_hand is not None else archives


def choose_by_hand(project: QgsProject, layers: dict[str, QgsVectorLayer]) -> ArchiveLayers:
    """Take layers from anywhere for those of an archive, and note it in the project."""
    for name in ASKED:
        project.writeEntry(_SCOPE, f"layers/{name}", layers[name].id() if name in layers else "")
    return ArchiveLayers(BY_HAND, layers)


def remember(project: QgsProject, archive: ArchiveLayers) -> None:
    """Note in the project which archive is asked."""
    project.writeEntry(_SCOPE, "archive", str(archive.place))


def remembered(project: QgsProject) -> ArchiveLayers | None:
    """The archive that was asked last, else the first there is."""
    archives = archives_in(project)
    last = project.readEntry(_SCOPE, "archive")[0]
    return next((archive for archive in archives if str(archive.place) == last), (archives or [None])[0])


def _by_hand(project: QgsProject) -> ArchiveLayers | None:
    chosen = {name: project.mapLayer(project.readEntry(_SCOPE, f"layers/{name}")[0]) for name in ASKED}
    layers = {name: layer for name, layer in chosen.items() if layer is not None and layer.isValid()}
    return ArchiveLayers(BY_HAND, layers) if "drains" in layers else None


def grounds_in(project: QgsProject) -> list[QgsRasterLayer]:
    """Rasters of one band that may be the ground, those first that lie higher in the tree of layers."""
    layers = [node.layer() for node in project.layerTreeRoot().findLayers()]
    return [layer for layer in layers if isinstance(layer, QgsRasterLayer) and layer.isValid()
            and layer.providerType() == "gdal" and layer.bandCount() == 1]


def _in_order(project: QgsProject) -> list[QgsVectorLayer]:
    layers = [node.layer() for node in project.layerTreeRoot().findLayers()]
    return [layer for layer in layers if isinstance(layer, QgsVectorLayer) and layer.isValid()]
