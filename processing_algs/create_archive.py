"""createarchive: an empty archive, or one filled with the sample, as a file or in a database."""

from __future__ import annotations

import tempfile
from pathlib import Path

from qgis.core import (
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingLayerPostProcessorInterface,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterCrs,
    QgsProcessingParameterFileDestination,
)

from .base import UNITS, FallkeeperAlgorithm
from .database_inputs import CONNECTION, add_database, database_place

CRS, SAMPLE, OUTPUT = "CRS", "SAMPLE", "OUTPUT"

_openers = []  # Processing keeps no Python reference to a post-processor


class ArchiveOpener(QgsProcessingLayerPostProcessorInterface):
    """Adds the layers of a new archive to the project, on the main thread.

    Processing itself would load them without their styles, the land on top of the pipes.
    """

    def __init__(self, place):
        super().__init__()
        self.place = place

    def postProcessLayer(self, layer, context, feedback):
        from ..plugin.qgis_layer.project import add_archive

        layer.loadDefaultStyle()
        add_archive(context.project(), self.place, leave_out=("archive",))
        if self in _openers:
            _openers.remove(self)


class CreateArchive(FallkeeperAlgorithm):
    """Makes a GeoPackage, or a schema of a database, with every layer of an archive."""

    id_ = "createarchive"
    title = "Create archive"
    group_ = "Archive"
    tags_ = ("archive", "new", "geopackage", "database", "template", "layers", "sample", "demo")
    help_ = (
        "Makes one GeoPackage that keeps everything known about a network of buried drains (tile lines): pipes, "
        "structures, land, trees, landmarks, calls, readings, tape figures, repairs and their history.\n\n"
        "The file brings its own forms and symbols and keeps its rules in any program: a role nobody knows or a "
        "diameter of 0 is refused with a sentence that says what to use. Unknown figures stay empty, never 0.\n\n"
        "An existing file is not overwritten, unless it is an archive without a single row.\n\n"
        "Where several people edit at once, choose a connection instead: the same archive is made in a schema of a "
        "PostgreSQL database with PostGIS, with a ready project and two group roles, one to read and one to edit. The "
        "history names the database user."
    )

    def initAlgorithm(self, config=None):
        self.add(QgsProcessingParameterCrs(CRS, self.tr("Coordinate reference system"), "ProjectCrs"),
                 "The projected system your maps are in, in feet or metres. Degrees (longitude and latitude) are "
                 "refused, because no length can be measured in them.")
        self.add_units()
        self.add(QgsProcessingParameterBoolean(SAMPLE, self.tr("Fill with the sample"), False),
                 "Write the invented county Ossel Flats into the archive, to try things on. It lies on open water.")
        add_database(self, True,
                     "Instead of a file: a connection to a PostgreSQL database with PostGIS, as the Browser lists it.",
                     "The schema that holds the archive. It is made if it is not there.")
        self.add(QgsProcessingParameterFileDestination(
                     OUTPUT, self.tr("Archive"), self.tr("GeoPackage (*.gpkg)"), optional=True),
                 "The new file, on a local disk, for one user at a time: a shared network drive is no place for a "
                 "GeoPackage. Not used with a connection.")

    def checkParameterValues(self, parameters, context):
        from ..plugin.qgis_layer.archive import ArchiveError, unit_system

        try:
            unit_system(self.parameterAsCrs(parameters, CRS, context))
        except ArchiveError as fault:
            return False, str(fault)
        if not parameters.get(CONNECTION) and not parameters.get(OUTPUT):
            return False, self.tr("Name the file of the archive, or choose a database connection.")
        return super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.qgis_layer.archive import ArchiveError, unit_system

        crs = self.parameterAsCrs(parameters, CRS, context)
        self.place = None
        try:
            units = self.parameterAsEnumString(parameters, UNITS, context)
            units = unit_system(crs) if units == "auto" else units
            sample = self.parameterAsBoolean(parameters, SAMPLE, context)
            if parameters.get(CONNECTION):
                return self._in_database(parameters, context, crs, units, sample)
            path = Path(self.parameterAsFileOutput(parameters, OUTPUT, context))
            self._warn_of_network(path, feedback)
            return self._in_file(path, crs, units, sample, context)
        except ArchiveError as fault:
            raise QgsProcessingException(str(fault)) from None

    def _warn_of_network(self, path, feedback):
        from ..plugin.qgis_layer.network_drive import network_warning

        warning = network_warning(path)
        if warning:
            feedback.pushWarning(warning)

    def _in_file(self, path, crs, units, sample, context):
        from ..plugin.qgis_layer.archive import create_archive
        from ..plugin.qgis_layer.sample import fill_with_sample

        create_archive(path, crs, units)
        if sample:
            fill_with_sample(path, crs, units)
        self._open_when_done(path, f"{path}|layername=archive", context)
        return {OUTPUT: str(path)}

    def _in_database(self, parameters, context, crs, units, sample):
        from ..plugin.qgis_layer.archive import create_archive
        from ..plugin.qgis_layer.copy_to_database import copy_to_database
        from ..plugin.qgis_layer.database_archive import create_database_archive
        from ..plugin.qgis_layer.database_place import PROVIDER
        from ..plugin.qgis_layer.sample import fill_with_sample

        place = database_place(self, parameters, context)
        if sample:
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / "sample.gpkg"
                create_archive(path, crs, units, place.schema)
                fill_with_sample(path, crs, units)
                copy_to_database(path, place)
        else:
            create_database_archive(place, crs, units)
        self.place, self.units = place, units
        return {OUTPUT: f"{PROVIDER}://{place.layer_source('archive', with_login=False)}"}

    def postProcessAlgorithm(self, context, feedback):
        """What QGIS keeps in the database: made with projects, so on the main thread."""
        if self.place is not None:
            from ..plugin.qgis_layer.database_finish import finish_database_archive
            from ..plugin.qgis_layer.database_place import PROVIDER

            for sentence in finish_database_archive(self.place, self.units):
                feedback.pushWarning(sentence)
            self._open_when_done(self.place, f"{PROVIDER}://{self.place.layer_source('archive')}", context)
        return {}

    def _open_when_done(self, place, source: str, context: QgsProcessingContext):
        """Let QGIS load the table about the archive; where it really does, the layers follow in their groups."""
        opener = ArchiveOpener(place)
        _openers.append(opener)
        details = QgsProcessingContext.LayerDetails("About this archive", context.project(), OUTPUT)
        details.setPostProcessor(opener)
        context.addLayerToLoadOnCompletion(source, details)

    def _complaint(self):
        """An archive can be made without any of the packages."""
        return None
