"""What comparing and accepting a layout share: the archive, the layout, tolerance, units; and reading them."""

from __future__ import annotations

from pathlib import Path

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterField,
    QgsProcessingParameterFile,
    QgsProcessingParameterNumber,
)

from ..plugin import limits
from .archive_base import ARCHIVE, ArchiveAlgorithm
from .archive_inputs import refuse_while_edited, show_changes
from .base import UNITS, FallkeeperAlgorithm
from .database_inputs import CONNECTION, add_database, database_place

LAYOUT, JOIN_TOLERANCE, ACCEPT_PROPOSED = "LAYOUT", "JOIN_TOLERANCE", "ACCEPT_PROPOSED"
_FIELDS = {"ID_FIELD": ("drain_id", "Key field"), "NAME_FIELD": ("name", "Name field"),
           "ROLE_FIELD": ("role", "Role field")}  # fmt: skip


class LayoutAlgorithm(ArchiveAlgorithm):
    """An algorithm on an archive and the lines of a layout. The layout is never changed.

    `place`: where the archive lies, the path of a file or a DatabasePlace.
    """

    def add_archive(self):
        self.add(QgsProcessingParameterFile(ARCHIVE, self.tr("Archive"), fileFilter=self.tr("GeoPackage (*.gpkg)"),
                                            optional=True),
                 "The GeoPackage of an archive of Fallkeeper. Not used with a connection."
                 + (" No layer of it may be in edit mode." if self.writes else ""))

    def add_database(self):
        add_database(self, True, "Instead of a file: the connection to the database that holds the archive.",
                     "The schema that holds the archive.")

    def add_layout(self):
        self.add(QgsProcessingParameterFeatureSource(LAYOUT, self.tr("Layout"),
                                                     [QgsProcessing.SourceType.TypeVectorLine]),
                 "Lines of the layout: the drains that Import layout wrote, or any lines, in any coordinate reference "
                 "system. Structures and level shots in the same file in archive form come with them.")
        for key, (own, label) in _FIELDS.items():
            self.add(QgsProcessingParameterField(key, self.tr(label), parentLayerParameterName=LAYOUT, optional=True),
                     f"Default: a field called {own}, if there is one.", advanced=True)

    def add_settings(self, joints_help: str):
        tolerance = self.tr("Join tolerance (ft or m; not set: 1 ft or 0.3 m)")
        self.add(QgsProcessingParameterNumber(JOIN_TOLERANCE, tolerance, QgsProcessingParameterNumber.Type.Double,
                                              optional=True, minValue=0.0),
                 "Ends this near to a pipe are proposed as joints. In the unit of lengths, never degrees.")
        self.add(QgsProcessingParameterBoolean(ACCEPT_PROPOSED, self.tr("Accept proposed joints"), False), joints_help)
        self.add_units()

    def checkParameterValues(self, parameters, context):
        from .layout_inputs import file_beside

        source = self.parameterAsSource(parameters, LAYOUT, context)
        if source is not None and not source.sourceCrs().isValid():
            return False, no_crs(source.sourceName())
        if not parameters.get(CONNECTION) and not parameters.get(ARCHIVE):
            return False, self.tr("Name the file of the archive, or choose a database connection.")
        beside = file_beside(self.parameterAsVectorLayer(parameters, LAYOUT, context))
        archive = Path(self.parameterAsFile(parameters, ARCHIVE, context))
        if beside is not None and archive.is_file() and beside.samefile(archive):
            return False, self.tr("The layout is a layer of the archive itself: choose the lines of the layout.")
        return super().checkParameterValues(parameters, context)

    def prepareAlgorithm(self, parameters, context, feedback):
        """Look at layers where that is allowed: on the main thread."""
        from ..plugin.qgis_layer.archive_edit import edited_layers, is_at
        from ..plugin.qgis_layer.archive_place import place_of
        from .layout_inputs import LayoutInputs

        if not super().prepareAlgorithm(parameters, context, feedback):
            return False
        database = database_place(self, parameters, context)
        self.place = database or self.path
        if database is not None and self.writes:
            refuse_while_edited(database, self.project)
        self.layout_source = self.parameterAsSource(parameters, LAYOUT, context)
        if self.layout_source is None:
            raise QgsProcessingException(self.invalidSourceError(parameters, LAYOUT))
        if not self.layout_source.sourceCrs().isValid():
            raise QgsProcessingException(no_crs(self.layout_source.sourceName()))
        layer = self.parameterAsVectorLayer(parameters, LAYOUT, context)
        if database is not None and layer is not None and is_at(place_of(layer), database):
            raise QgsProcessingException("The layout is a layer of the archive itself: choose the lines of the layout.")
        renamed = {own: self.parameterAsString(parameters, key, context) for key, (own, _) in _FIELDS.items()}
        self.inputs = LayoutInputs.of(
            self.place, self.layout_source, layer, {own: name for own, name in renamed.items() if name},
            self.parameterAsString(parameters, UNITS, context) or "auto", context,
        )
        self.source = self.inputs  # whose CRS is that of all results
        for name in [] if self.writes else edited_layers(self.place, self.project):
            feedback.pushWarning(
                f"The layer '{name}' of the archive is in edit mode: what is not saved yet is not seen."
            )
        return True

    def postProcessAlgorithm(self, context, feedback):
        if self.writes and self.place is not self.path:
            show_changes(self.place, self.project)
            return {}
        return super().postProcessAlgorithm(context, feedback)

    def place_name(self) -> str:
        """What to call the archive where it does not say its name."""
        return self.path.stem if self.place is self.path else self.place.schema

    def compare(self, parameters, context, feedback):
        """The comparison, as plugin.compare.judge.Comparison."""
        from .layout_inputs import compare

        given = parameters.get(JOIN_TOLERANCE)
        units = self.inputs.units
        tolerance = limits.JOIN_TOLERANCE[units.system] if given is None else self.parameterAsDouble(
            parameters, JOIN_TOLERANCE, context)
        joints = self.parameterAsBoolean(parameters, ACCEPT_PROPOSED, context)
        return compare(self.inputs, tolerance * units.length_m, joints, feedback)

    def _complaint(self):
        """Comparing needs the packages that networks need."""
        return FallkeeperAlgorithm._complaint(self)


def no_crs(name: str) -> str:
    return f"The layer '{name}' has no coordinate reference system: set the one it was drawn in."
