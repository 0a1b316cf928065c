"""archivetodatabase: a file archive moves into a database, with its history."""

from __future__ import annotations

from pathlib import Path

from qgis.core import QgsProcessingException, QgsProcessingOutputString, QgsProcessingParameterFile

from .base import FallkeeperAlgorithm
from .database_inputs import add_database, database_place, rows_done

ARCHIVE, OUTPUT = "ARCHIVE", "OUTPUT"


class ArchiveToDatabase(FallkeeperAlgorithm):
    """Copies an archive from its GeoPackage into a schema of a database."""

    id_ = "archivetodatabase"
    title = "Copy archive to a database"
    group_ = "Archive"
    tags_ = ("archive", "postgis", "postgresql", "database", "move", "migrate", "share", "several", "people")
    help_ = (
        "Copies everything an archive holds from its GeoPackage into a schema of a PostgreSQL database with PostGIS, "
        "where several people can edit at once: all rows with their numbers and keys, and the whole history. The "
        "file stays as it is.\n\n"
        "To do: let everybody save and stop editing, run this, open the project 'Fallkeeper' of the schema from the "
        "Browser, and put the file away, so that nobody goes on in the old place.\n\n"
        "If anything fails nothing is left in the database. A schema that holds an archive with rows is not "
        "overwritten."
    )

    def initAlgorithm(self, config=None):
        self.add(QgsProcessingParameterFile(ARCHIVE, self.tr("Archive"), fileFilter=self.tr("GeoPackage (*.gpkg)")),
                 "The GeoPackage of an archive of Fallkeeper.")
        add_database(self, False, "A connection to a PostgreSQL database with PostGIS, as the Browser lists it.",
                     "The schema that is to hold the archive. It is made if it is not there.")
        self.addOutput(QgsProcessingOutputString(OUTPUT, self.tr("Source of the table about the archive")))

    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.qgis_layer.archive import open_layer
        from ..plugin.qgis_layer.archive_error import ArchiveError
        from ..plugin.qgis_layer.archive_info import ArchiveInfo
        from ..plugin.qgis_layer.copy_to_database import copy_to_database, left_behind

        path = Path(self.parameterAsFile(parameters, ARCHIVE, context))
        self.place = database_place(self, parameters, context)
        try:
            self.units = ArchiveInfo.beside(open_layer(path, "drains")).units
            copy_to_database(path, self.place, rows_done(feedback))
        except ArchiveError as fault:
            raise QgsProcessingException(str(fault)) from None
        for sentence in left_behind(path):
            feedback.pushWarning(sentence)
        return {OUTPUT: f"postgres://{self.place.layer_source('archive', with_login=False)}"}

    def postProcessAlgorithm(self, context, feedback):
        """What QGIS keeps in the database: made with projects, so on the main thread."""
        from ..plugin.qgis_layer.database_finish import finish_database_archive

        for sentence in finish_database_archive(self.place, self.units):
            feedback.pushWarning(sentence)
        return {}

    def _complaint(self):
        """An archive can be copied without any of the packages."""
        return None
