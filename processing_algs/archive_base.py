"""What the algorithms on a whole archive share: the file, who works, no layer in edit mode, faults as sentences."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path

from qgis.core import (
    QgsProcessingException,
    QgsProcessingParameterFile,
    QgsProcessingParameterString,
)

from .base import FallkeeperAlgorithm

ARCHIVE, WHO = "ARCHIVE", "WHO"


class ArchiveAlgorithm(FallkeeperAlgorithm):
    """An algorithm on the file of an archive; `writes` tells whether it changes it."""

    group_ = "Archive"
    writes = True

    def add_archive(self):
        help_text = "The GeoPackage of an archive of Fallkeeper."
        if self.writes:
            help_text += " No layer of it may be in edit mode."
        self.add(QgsProcessingParameterFile(ARCHIVE, self.tr("Archive"), fileFilter=self.tr("GeoPackage (*.gpkg)")),
                 help_text)

    def add_who(self):
        self.add(QgsProcessingParameterString(WHO, self.tr("Who"), optional=True),
                 "Who does it, as the history will say; default: the name of the user.", advanced=True)

    def prepareAlgorithm(self, parameters, context, feedback):
        from ..plugin.qgis_layer.archive_edit import refuse_while_edited, user_name

        if not super().prepareAlgorithm(parameters, context, feedback):
            return False
        self.path = Path(self.parameterAsFile(parameters, ARCHIVE, context))
        self.project = context.project()
        if self.parameterDefinition(WHO) is not None:
            self.who = self.parameterAsString(parameters, WHO, context).strip() or user_name()
        if self.writes:
            with told():
                refuse_while_edited(self.path, self.project)
        return True

    def postProcessAlgorithm(self, context, feedback):
        from ..plugin.qgis_layer.archive_edit import show_changes

        if self.writes:
            show_changes(self.path, self.project)
        return {}

    def _complaint(self):
        """The archive itself can be kept without any of the packages."""
        return None


@contextmanager
def told():
    """Faults of the archive as what Processing shows."""
    from ..plugin.qgis_layer.archive_error import ArchiveError

    try:
        yield
    except ArchiveError as fault:
        raise QgsProcessingException(str(fault)) from None
