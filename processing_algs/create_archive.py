"""createarchive: an empty archive, or one filled with the sample."""

from __future__ import annotations

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

CRS, SAMPLE, OUTPUT = "CRS", "SAMPLE", "OUTPUT"


_openers = []  # Processing keeps no Python reference to a post-processor


class ArchiveOpener(QgsProcessingLayerPostProcessorInterface):
    """Adds the layers of a new archive to the project, on the main thread.

    Processing itself would load them without their styles, the land on top of the pipes.
    """

    def __init__(self, path: Path):
        super().__init__()
        self.path = path

    def postProcessLayer(self, layer, context, feedback):
        from ..plugin.qgis_layer.project import add_archive

        layer.loadDefaultStyle()
        add_archive(context.project(), self.path, leave_out=("archive",))
        if self in _openers:
            _openers.remove(self)


class CreateArchive(FallkeeperAlgorithm):
    """Makes a GeoPackage with every layer of an archive."""

    id_ = "createarchive"
    title = "Create archive"
    group_ = "Archive"
    tags_ = ("archive", "new", "geopackage", "database", "template", "layers", "sample", "demo")
    help_ = (
        "Makes one GeoPackage that keeps everything known about a network of buried drains (tile lines): pipes, "
        "structures, land, trees, landmarks, calls, readings, tape figures, repairs and their history.\n\n"
        "The file brings its own forms and symbols and keeps its rules in any program: a role nobody knows or a "
        "diameter of 0 is refused with a sentence that says what to use. Unknown figures stay empty, never 0.\n\n"
        "An existing file is not overwritten, unless it is an archive without a single row."
    )

    def initAlgorithm(self, config=None):
        self.add(QgsProcessingParameterCrs(CRS, self.tr("Coordinate reference system"), "ProjectCrs"),
                 "The projected system your maps are in, in feet or metres. Degrees (longitude and latitude) are "
                 "refused, because no length can be measured in them.")
        self.add_units()
        self.add(QgsProcessingParameterBoolean(SAMPLE, self.tr("Fill with the sample"), False),
                 "Write the invented county Ossel Flats into the archive, to try things on. It lies on open water.")
        self.add(QgsProcessingParameterFileDestination(OUTPUT, self.tr("Archive"), self.tr("GeoPackage (*.gpkg)")),
                 "The new file, on a local disk, for one user at a time: a shared network drive is no place for a "
                 "GeoPackage.")

    def checkParameterValues(self, parameters, context):
        from ..plugin.qgis_layer.archive import ArchiveError, unit_system

        try:
            unit_system(self.parameterAsCrs(parameters, CRS, context))
        except ArchiveError as fault:
            return False, str(fault)
        return super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.qgis_layer.archive import ArchiveError, create_archive, unit_system
        from ..plugin.qgis_layer.sample import fill_with_sample

        crs = self.parameterAsCrs(parameters, CRS, context)
        path = Path(self.parameterAsFileOutput(parameters, OUTPUT, context))
        try:
            units = self.parameterAsEnumString(parameters, UNITS, context)
            units = unit_system(crs) if units == "auto" else units
            create_archive(path, crs, units)
            if self.parameterAsBoolean(parameters, SAMPLE, context):
                fill_with_sample(path, crs, units)
        except ArchiveError as fault:
            raise QgsProcessingException(str(fault)) from None
        self._open_when_done(path, context)
        return {OUTPUT: str(path)}

    def _open_when_done(self, path: Path, context: QgsProcessingContext):
        """Let QGIS load the table about the archive; where it really does, the layers follow in their groups."""
        opener = ArchiveOpener(path)
        _openers.append(opener)
        details = QgsProcessingContext.LayerDetails("About this archive", context.project(), OUTPUT)
        details.setPostProcessor(opener)
        context.addLayerToLoadOnCompletion(f"{path}|layername=archive", details)

    def _complaint(self):
        """An archive can be made without any of the packages."""
        return None
