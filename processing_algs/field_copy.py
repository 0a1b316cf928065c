"""fieldcopy: a copy of an archive to take along on a phone; fieldreturn brings its changes back."""

from __future__ import annotations

from pathlib import Path

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterExtent,
    QgsProcessingParameterFileDestination,
)

from .archive_inputs import add_archive, archive_place
from .base import FallkeeperAlgorithm
from .database_inputs import rows_done

LAYERS, EXTENT, OUTPUT, ROW_COUNT = "LAYERS", "EXTENT", "OUTPUT", "ROW_COUNT"
# as schema.LAYERS with a required key, named here so that nothing is loaded for the dialog; a test compares
CHOICES = (
    "drains", "shots", "structures", "land", "trees", "tree_rows", "woods", "landmarks", "calls", "readings", "tapes",
    "layouts", "layout_lines", "repairs",
)
NOT_BY_DEFAULT = ("land", "layouts", "layout_lines")  # land names owners


class FieldCopy(FallkeeperAlgorithm):
    """Writes layers of an archive into a GeoPackage that any field app can edit."""

    id_ = "fieldcopy"
    title = "Take a copy to the field"
    group_ = "Archive"
    tags_ = ("field", "phone", "tablet", "mobile", "offline", "capture", "survey", "copy", "archive")
    help_ = (
        "Writes the layers of an archive that a crew needs into one GeoPackage, with a QGIS project of the same name "
        "beside it: forms with plain value lists, symbols, and nothing that needs this plugin. Both go to the phone "
        "into one folder; photos are named relative to it.\n\n"
        "The archive can be edited meanwhile. When the copy comes back, 'Bring back from the field' says what is new, "
        "changed and deleted in it and what somebody changed in the archive too, and writes what you agree to.\n\n"
        "To do: choose the archive, the layers and the area, run, copy both files to the phone."
    )

    def initAlgorithm(self, config=None):
        add_archive(self)
        wanted = [index for index, name in enumerate(CHOICES) if name not in NOT_BY_DEFAULT]
        self.add(QgsProcessingParameterEnum(LAYERS, self.tr("Layers"), list(CHOICES), True, wanted),
                 "The layers to take along. Land is left out unless you ask for it: it names owners, and a phone can "
                 "be lost.")
        self.add(QgsProcessingParameterExtent(EXTENT, self.tr("Area"), optional=True),
                 "Only what touches this area; default: all. Tables without places are taken whole.")
        self.add(QgsProcessingParameterFileDestination(OUTPUT, self.tr("Copy"), self.tr("GeoPackage (*.gpkg)")),
                 "A new file; the project gets its name.")
        self.addOutput(QgsProcessingOutputNumber(ROW_COUNT, self.tr("Rows in the copy")))

    def prepareAlgorithm(self, parameters, context, feedback):
        if not super().prepareAlgorithm(parameters, context, feedback):
            return False
        self.place = archive_place(self, parameters, context)
        self.path = Path(self.parameterAsFileOutput(parameters, OUTPUT, context))
        self.names = [CHOICES[index] for index in self.parameterAsEnums(parameters, LAYERS, context)]
        if not self.names:
            raise QgsProcessingException(self.tr("No layer is chosen: choose what the crew needs."))
        return True

    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.qgis_layer.archive import open_layer
        from ..plugin.qgis_layer.archive_error import ArchiveError
        from ..plugin.qgis_layer.field_copy_file import make_field_copy

        try:
            crs = open_layer(self.place, "drains").crs()
            extent = None
            if parameters.get(EXTENT):
                extent = self.parameterAsExtent(parameters, EXTENT, context, crs)
            counts = make_field_copy(self.place, self.path, self.names, extent, rows_done(feedback))
        except ArchiveError as fault:
            raise QgsProcessingException(str(fault)) from None
        for name, count in counts.items():
            feedback.pushInfo(f"{name}: {count:,}")
        return {OUTPUT: str(self.path), ROW_COUNT: sum(counts.values())}

    def postProcessAlgorithm(self, context, feedback):
        """A project is made on the main thread."""
        from ..plugin.qgis_layer.field_copy_file import store_field_project

        store_field_project(self.path, self.names)
        return {}

    def _complaint(self):
        """A copy can be made without any of the packages."""
        return None
