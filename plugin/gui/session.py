"""What is loaded: the archive chosen, its county once it is built, and when it has to be built anew."""

from __future__ import annotations

from qgis.core import QgsApplication, QgsProject
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QDateTime, QObject, QTimer, pyqtSignal

from ..qgis_layer.project_layers import archives_in
from .load_task import LoadTask

_WATCHED = ("drains", "structures", "shots", "land")
_SETTLE_MS = 400  # several edits in a row are one


class Session(QObject):
    """`changed`: what is chosen or loaded is another; `progressed`: percent of the loading."""

    changed = pyqtSignal()
    progressed = pyqtSignal(float)

    def __init__(self, parent=None):
        super().__init__(parent)
        self.archive = None  # ArchiveLayers
        self.loaded = None  # qgis_layer.load.Loaded
        self.loaded_at = None
        self.problem = ""
        self._task = None
        self._watched = []
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(_SETTLE_MS)
        self._settle.timeout.connect(self.load)
        project = QgsProject.instance()
        project.layersAdded.connect(self._look_again)
        project.layersRemoved.connect(self._look_again)
        project.readProject.connect(self._look_again)

    @property
    def is_loading(self):
        return self._task is not None

    def archives(self):
        return archives_in(QgsProject.instance())

    def choose(self, archive):
        """Take an archive (None: none) and load it."""
        self._stop_watching()
        self.archive, self.loaded, self.problem = archive, None, ""
        if archive is not None:
            self._watch()
            self.load()
        self.changed.emit()

    def load(self):
        """Build the network in the background; what is loaded stays usable until the new one is ready."""
        self.cancel()
        if self.archive is None:
            return
        from ..limits import LimitError
        from ..qgis_layer.load import Loader, NotLoadedError

        try:
            loader = Loader(self.archive.layers, QgsProject.instance().transformContext())
        except (NotLoadedError, LimitError) as fault:
            self.problem = str(fault)
            self.changed.emit()
            return
        task = LoadTask(loader)
        task.loaded.connect(lambda result: self._take(task, result))
        task.failed.connect(lambda why: self._fail(task, why))
        task.progressChanged.connect(self.progressed)
        self._task = task
        QgsApplication.taskManager().addTask(task)
        self.changed.emit()

    def cancel(self):
        if self._task is not None:
            task, self._task = self._task, None
            task.cancel()
            self.changed.emit()

    def close(self):
        """Let go of everything in QGIS."""
        self._settle.stop()
        self.cancel()
        self._stop_watching()
        project = QgsProject.instance()
        project.layersAdded.disconnect(self._look_again)
        project.layersRemoved.disconnect(self._look_again)
        project.readProject.disconnect(self._look_again)

    def _take(self, task, result):
        if task is not self._task:
            return  # an older one, overtaken
        self._task, self.loaded, self.problem = None, result, ""
        self.loaded_at = QDateTime.currentDateTime()
        self.changed.emit()

    def _fail(self, task, why):
        if task is not self._task:
            return
        self._task, self.problem = None, why
        self.changed.emit()

    def _look_again(self, *_):
        """Layers came or went: keep the archive if it is still there, else take the first there is."""
        archives = self.archives()
        same = [a for a in archives if self.archive is not None and a.place == self.archive.place]
        found = (same or archives or [None])[0]
        if found is None or self.archive is None or found.layers != self.archive.layers:
            if found is not None or self.archive is not None:
                self.choose(found)
        else:
            self.changed.emit()

    def _watch(self):
        for name in _WATCHED:
            layer = self.archive.layers.get(name)
            if layer is None:
                continue
            for signal in (layer.featureAdded, layer.featureDeleted, layer.geometryChanged,
                           layer.attributeValueChanged, layer.dataChanged):
                signal.connect(self._edited)
                self._watched.append((layer, signal))

    def _stop_watching(self):
        for layer, signal in self._watched:
            if not sip.isdeleted(layer):  # else its signals are gone with it
                signal.disconnect(self._edited)
        self._watched = []

    def _edited(self, *_):
        self._settle.start()
