"""bringarchiveup: an archive of an older version of the plugin gets what is new, after a copy was taken."""

from __future__ import annotations

from qgis.core import QgsProcessingOutputFile, QgsProcessingOutputNumber

from .archive_base import ArchiveAlgorithm, told

_NUMBERS = {"FROM_VERSION": "Schema before", "TO_VERSION": "Schema now"}


class BringArchiveUp(ArchiveAlgorithm):
    """Migrates the file of an archive."""

    id_ = "bringarchiveup"
    title = "Bring archive up to date"
    tags_ = ("archive", "schema", "version", "migrate", "update", "upgrade", "older", "convert")
    help_ = (
        "Brings an archive that an older Fallkeeper made up to the layers, columns and history of this one. An older "
        "archive can be read without that, but not changed.\n\n"
        "To do: choose the archive and run. First a copy is put beside it, named after the day and its version "
        "('county (schema 1, 2026-05-01).gpkg'); nothing is ever overwritten. Then what is new is added, all or "
        "nothing, and the history says when, by whom, and where the copy is. Keep the copy until you are sure.\n\n"
        "No row is changed: every key and every digit stays, and so do tables, columns, forms and symbols of your own. "
        "Since forms stay, a new column is not in the form of its layer until you put it there. An archive of the "
        "first version kept no history: it begins with this run.\n\n"
        "An archive in a database is brought up on the way to a file: 'Copy archive to a file'. An archive that a "
        "newer Fallkeeper made is not touched: update the plugin."
    )

    def initAlgorithm(self, config=None):
        self.add_archive()
        self.add_who()
        self.addOutput(QgsProcessingOutputFile("COPY", self.tr("Copy of before")))
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))

    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.qgis_layer.bring_up import bring_archive_up
        from ..plugin.schema import SCHEMA_VERSION

        with told():
            done = bring_archive_up(self.path, self.who, feedback.isCanceled)
        feedback.pushInfo(
            f"Brought up from schema {done.version} to {SCHEMA_VERSION}. Added: {', '.join(done.added) or 'nothing'}, "
            f"and what watches changes. A copy of before is {done.copy}."
        )
        return {"COPY": str(done.copy), "FROM_VERSION": done.version, "TO_VERSION": SCHEMA_VERSION}
