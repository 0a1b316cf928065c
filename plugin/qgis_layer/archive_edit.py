"""What QGIS has to say before an archive is changed as a whole, and what it must be told afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from qgis.core import QgsApplication, QgsProject, QgsVectorLayer

from .archive_error import ArchiveError
from .archive_place import place_of
from .database_place import DatabasePlace


def refuse_while_edited(path: Path, project: QgsProject | None) -> None:
    """ArchiveError while a layer of the archive at `path` is in edit mode. To be asked on the main thread."""
    edited = sorted(layer.name() for layer in _layers_of(path, project) if layer.isEditable())
    if edited:
        raise ArchiveError(
            f"The layer '{edited[0]}' of {path} is in edit mode: save or discard its edits, leave edit mode, and run "
            "again. Nothing was changed."
        )


def show_changes(path: Path, project: QgsProject | None) -> None:
    """Let the layers of the archive show what was written into its file. To be called on the main thread."""
    for layer in _layers_of(path, project):
        layer.dataProvider().reloadData()
        layer.updateFields()
        layer.updateExtents()
        layer.triggerRepaint()


def into_edit_mode(layer: QgsVectorLayer) -> bool:
    """Whether the layer can be edited; it is in edit mode then."""
    return layer.isEditable() or (not layer.readOnly() and layer.startEditing())


def user_name() -> str:
    """Who works here: as the forms of an archive fill in `edited_by`."""
    return QgsApplication.userFullName() or QgsApplication.userLoginName()


def _layers_of(path: Path | DatabasePlace, project: QgsProject | None) -> Iterator[QgsVectorLayer]:
    for layer in project.mapLayers().values() if project is not None else ():
        if isinstance(layer, QgsVectorLayer) and layer.isValid() and is_at(place_of(layer), path):
            yield layer


def is_at(place: Path | DatabasePlace | None, wanted: Path | DatabasePlace) -> bool:
    """Whether both are one archive, whatever way a file is named and whoever logs in to a database."""
    if isinstance(wanted, DatabasePlace):
        return isinstance(place, DatabasePlace) and place.same_as(wanted)
    return isinstance(place, Path) and wanted.exists() and place.samefile(wanted)


def edited_layers(path: Path | DatabasePlace, project: QgsProject | None) -> list[str]:
    """Names of layers of the archive that are in edit mode. To be asked on the main thread."""
    return sorted(layer.name() for layer in _layers_of(path, project) if layer.isEditable())
