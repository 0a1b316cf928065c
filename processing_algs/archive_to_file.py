"""archivetofile: an archive in a database becomes a file again, with its history."""

from __future__ import annotations

from pathlib import Path

from qgis.core import QgsProcessingException, QgsProcessingParameterFileDestination

from .base import FallkeeperAlgorithm
from .database_inputs import add_database, database_place, rows_done

OUTPUT = "OUTPUT"


class ArchiveToFile(FallkeeperAlgorithm):
    """Copies an archive from a schema of a database into a GeoPackage."""

    id_ = "archivetofile"
    title = "Copy archive to a file"
    group_ = "Archive"
    tags_ = ("archive", "geopackage", "file", "database", "postgis", "backup", "export")
    help_ = (
        "Copies everything an archive holds from a schema of a PostgreSQL database into one GeoPackage: all rows with "
        "their numbers and keys, and the whole history. The database stays as it is. Good to leave the database "
        "again, to take the archive along, and to keep a copy.\n\n"
        "The copy is an archive of its own: what is changed in it does not come back by itself. For work in the field "
        "use 'Take a copy to the field', whose changes come back.\n\n"
        "An archive of an older version of Fallkeeper is brought up: the file has all the layers of today.\n\n"
        "If somebody changes the archive while it is copied, no file is made and a sentence says so."
    )

    def initAlgorithm(self, config=None):
        add_database(self, False, "The connection to the database, as the Browser lists it.",
                     "The schema that holds the archive.")
        self.add(QgsProcessingParameterFileDestination(OUTPUT, self.tr("Archive"), self.tr("GeoPackage (*.gpkg)")),
                 "The new file, on a disk of this computer.")

    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.qgis_layer.archive_error import ArchiveError
        from ..plugin.qgis_layer.copy_to_file import copy_to_file
        from ..plugin.qgis_layer.network_drive import network_warning

        path = Path(self.parameterAsFileOutput(parameters, OUTPUT, context))
        if network_warning(path):
            feedback.pushWarning(network_warning(path))
        try:
            copy_to_file(database_place(self, parameters, context), path, rows_done(feedback))
        except ArchiveError as fault:
            raise QgsProcessingException(str(fault)) from None
        return {OUTPUT: str(path)}

    def _complaint(self):
        """An archive can be copied without any of the packages."""
        return None
