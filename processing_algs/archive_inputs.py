"""The parameter that names an archive, in a file or in a database, by any of its layers."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingParameterVectorLayer,
    QgsVectorLayer,
)

ARCHIVE = "ARCHIVE"


def add_archive(algorithm, more_help: str = ""):
    help_text = "Any layer of the archive, in a file or in a database, or its file. " + more_help
    parameter = QgsProcessingParameterVectorLayer(
        ARCHIVE, algorithm.tr("Archive"), [QgsProcessing.SourceType.TypeVector]
    )
    algorithm.add(parameter, help_text.strip())


def archive_place(algorithm, parameters, context):
    """The place of the archive. To be asked on the main thread."""
    from ..plugin.qgis_layer.archive_place import place_of

    layer = algorithm.parameterAsVectorLayer(parameters, ARCHIVE, context)
    place = None if layer is None else place_of(layer)
    if place is None:
        raise QgsProcessingException(
            "That is no layer of an archive: choose one in a GeoPackage or in a PostgreSQL database."
        )
    return place


def refuse_while_edited(place, project):
    """A sentence as an error while a layer of the archive is in edit mode. To be asked on the main thread."""
    from ..plugin.qgis_layer.archive_edit import is_at
    from ..plugin.qgis_layer.archive_place import place_of

    for layer in project.mapLayers().values() if project is not None else ():
        if isinstance(layer, QgsVectorLayer) and layer.isEditable() and is_at(place_of(layer), place):
            raise QgsProcessingException(
                f"The layer '{layer.name()}' is in edit mode: save or discard its edits, leave edit mode, and run "
                "again. Nothing was changed."
            )


def show_changes(place, project):
    """Let the layers of the archive show what was written. To be called on the main thread."""
    from ..plugin.qgis_layer.archive_edit import is_at
    from ..plugin.qgis_layer.archive_place import place_of

    for layer in project.mapLayers().values() if project is not None else ():
        if isinstance(layer, QgsVectorLayer) and is_at(place_of(layer), place):
            layer.dataProvider().reloadData()
            layer.updateExtents()
            layer.triggerRepaint()
