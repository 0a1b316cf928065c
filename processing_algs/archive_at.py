"""archiveat: an archive as it stood on any day, in the ground or as it was known then."""

from __future__ import annotations

import datetime
import tempfile
from contextlib import contextmanager
from pathlib import Path

from qgis.core import (
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterDateTime,
    QgsProcessingParameterFileDestination,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QDate

from .archive_base import told
from .archive_inputs import ARCHIVE, add_archive, archive_place
from .base import FallkeeperAlgorithm

DATE, KNOWN_ON, LOAD, OUTPUT = "DATE", "KNOWN_ON", "LOAD", "OUTPUT"
_LAYERS = {"drains": "Drains", "structures": "Structures", "shots": "Level shots", "land": "Land"}
_LOADED = ("drains", "structures")  # in this order on the map, from below
_NUMBERS = {"DRAIN_COUNT": "Drains", "CHANGES_SINCE": "Later changes left out", "CAUTION_COUNT": "Cautions"}


class ArchiveAt(FallkeeperAlgorithm):
    """Draws a day of an archive into a file of its own."""

    id_ = "archiveat"
    title = "Draw the archive of a day"
    tags_ = ("archive", "history", "date", "earlier", "past", "version", "as it was", "time")
    group_ = "Archive"
    help_ = (
        "Draws an archive as it stood on any day, into a new file that is an archive of its own, with forms, symbols "
        "and its history until then. The archive itself is only read.\n\n"
        "There are two days, and either or both may be given. In the ground on: the pipe that lay there on that day "
        "carries water, whatever became of it later; what was laid later, is only proposed or was taken out before is "
        "left out; what was abandoned before is drawn as abandoned, since it may hold water. The days are those of In "
        "the ground from (else Installed on) and In the ground to. Known on: what the archive said at that time, "
        "before all later corrections, taken from its history.\n\n"
        "To do: choose the archive and a day, and run. Give the layers DRAINS and STRUCTURES to any other tool to "
        "trace or check that day. Read the warnings: they say where a day is not known, or where the history has a "
        "gap.\n\n"
        "An archive in a database is read as a whole first, which takes longer."
    )

    def initAlgorithm(self, config=None):
        add_archive(self)
        kinds = QgsProcessingParameterDateTime.Type
        self.add(QgsProcessingParameterDateTime(DATE, self.tr("In the ground on"), kinds.Date, optional=True),
                 "Empty: all pipe, with its present status.")
        self.add(QgsProcessingParameterDateTime(KNOWN_ON, self.tr("Known on"), kinds.DateTime, optional=True),
                 "By the clock of this computer; a day without a time means its end. Empty: as known now.")
        self.add(QgsProcessingParameterBoolean(LOAD, self.tr("Add drains and structures to the map"), True),
                 "The other layers are in the file.")
        self.add(QgsProcessingParameterFileDestination(OUTPUT, self.tr("Archive of that day"),
                                                       self.tr("GeoPackage (*.gpkg)")),
                 "A new file; nothing is overwritten.")
        for name, label in _LAYERS.items():
            self.addOutput(QgsProcessingOutputVectorLayer(name.upper(), self.tr(label)))
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))

    def prepareAlgorithm(self, parameters, context, feedback):
        """Look at layers where that is allowed: on the main thread."""
        from ..plugin.qgis_layer.archive_edit import edited_layers

        if not super().prepareAlgorithm(parameters, context, feedback):
            return False
        self.place = _file_given(parameters) or archive_place(self, parameters, context)
        for name in edited_layers(self.place, context.project()):
            feedback.pushWarning(f"The layer '{name}' of the archive is in edit mode: what is not saved is not drawn.")
        return True

    def checkParameterValues(self, parameters, context):
        if _file_given(parameters) is not None:  # what is wrong with a file is said in a sentence of its own
            parameters = {**parameters, ARCHIVE: QgsVectorLayer("NoGeometry", "file", "memory")}
        return super().checkParameterValues(parameters, context)

    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.history.as_of import draw_archive
        from ..plugin.history.progress import CanceledError, Progress

        day = self.parameterAsDateTime(parameters, DATE, context).date()
        day = day.toPyDate() if day.isValid() else None
        known_on = self._known_on(parameters, context)
        path = Path(self.parameterAsFileOutput(parameters, OUTPUT, context))
        progress = Progress(lambda share: feedback.setProgress(50 + 50 * share), feedback.isCanceled)
        try:
            with told(), self._file(feedback) as (archive, called):
                drawn = draw_archive(archive, path, day, known_on, progress, called)
        except CanceledError:
            raise QgsProcessingException("Canceled, and no file was made.") from None
        for caution in drawn.cautions:
            feedback.pushWarning(caution)
        shown = [f"in the ground on {day}"] if day else []
        shown += [f"known on {known_on:%Y-%m-%d %H:%M}"] if known_on else []
        said = ", ".join(shown) or "as it is"
        feedback.pushInfo(
            f"Drawn {said}: {drawn.rows['drains']:,} drains. {drawn.changes_since:,} later changes are left out."
        )
        sources = {name: f"{path}|layername={name}" for name in _LAYERS}
        if self.parameterAsBoolean(parameters, LOAD, context):
            for name in _LOADED:
                self._load(sources[name], name, f"{_LAYERS[name]}, {said}", context)
        return {
            OUTPUT: str(path), **{name.upper(): source for name, source in sources.items()},
            "DRAIN_COUNT": drawn.rows["drains"], "CHANGES_SINCE": drawn.changes_since,
            "CAUTION_COUNT": len(drawn.cautions),
        }

    @contextmanager
    def _file(self, feedback):
        """The archive as a file, and its name; of one in a database a copy with its history."""
        from ..plugin.history.progress import CanceledError
        from ..plugin.qgis_layer.copy_to_file import copy_to_file

        if isinstance(self.place, Path):
            yield self.place, self.place.name
            return

        def on_rows(done, of_all):
            if feedback.isCanceled():
                raise CanceledError
            feedback.setProgress(50 * done / max(of_all, 1))

        with tempfile.TemporaryDirectory(prefix="fallkeeper_") as aside:
            copy = Path(aside) / "archive.gpkg"
            copy_to_file(self.place, copy, on_rows)
            yield copy, str(self.place)

    def _known_on(self, parameters, context):
        moment = self.parameterAsDateTime(parameters, KNOWN_ON, context)
        if not moment.isValid():
            return None
        given = parameters.get(KNOWN_ON)
        moment = moment.toPyDateTime()
        if isinstance(given, QDate) or type(given) is datetime.date or (isinstance(given, str) and len(given) <= 10):
            moment += datetime.timedelta(days=1, milliseconds=-1)
        return moment.astimezone()

    def _load(self, source, name, title, context):
        details = QgsProcessingContext.LayerDetails(title, context.project(), name.upper())
        context.addLayerToLoadOnCompletion(source, details)
        self.style_when_loaded(source, "AS_SAVED", context, {})

    def _complaint(self):
        """An archive can be drawn without any of the packages."""
        return None


def _file_given(parameters):
    """The file where one was named; None where a layer was."""
    given = str(parameters.get(ARCHIVE) or "").partition("|layername=")[0]
    return Path(given) if given.lower().endswith(".gpkg") else None
