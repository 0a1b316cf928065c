"""What is loaded: the archive chosen, its county, its findings if asked for; and what is to be brought up to date."""

from __future__ import annotations

from functools import partial

from qgis.core import QgsApplication, QgsProject
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QDateTime, QObject, QTimer, pyqtSignal

from ..qgis_layer.file_lock import LOCKED, is_locked
from ..qgis_layer.project_layers import ASKED, archives_in, grounds_in, remembered
from .accepted_watch import AcceptedWatch
from .archive_look import ArchiveLook
from .read_task import EngineTask, ReadTask
from .settings import ACCEPT_PROPOSED, FOLLOW_EDITS, READ_AT_ONCE

_SETTLE_MS = 400  # several edits in a row are one


class Session(QObject):
    """`changed`: what is chosen, loaded or found is another; `progressed`: percent of the work under way."""

    changed = pyqtSignal()
    progressed = pyqtSignal(float)

    def __init__(self, parent=None):
        super().__init__(parent)
        self.archive = None  # ArchiveLayers
        self.loaded = None  # qgis_layer.load.Loaded
        self.findings = None  # answers.findings.FindingsView of `loaded`, once the checks were made
        self.ground = None  # id of the raster layer that the checks take the ground from
        self.read_at = None
        self.problem = ""
        self._touched = {}  # by layer: features edited since it was read; one that is missing has to be read as a whole
        self._is_ready = False  # whether the engine is loaded
        self._under_way = {}  # the same, of what the task under way reads now
        self._task = None
        self._watched = []
        self._accepted = AcceptedWatch(self)
        self.look = ArchiveLook(self)
        self.look.changed.connect(self.changed)
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

    @property
    def is_behind(self):
        """Whether something was edited that what is loaded does not know of."""
        return self.loaded is not None and any(self._touched.get(name, True) for name in ASKED)

    def archives(self):
        return archives_in(QgsProject.instance())

    def ground_layer(self):
        """The ground that the checks take, else the first one of the project; None: none."""
        chosen = QgsProject.instance().mapLayer(self.ground or "")
        return chosen or next(iter(grounds_in(QgsProject.instance())), None)

    def begin(self):
        """Take the archive of the project that was asked last, or the first there is."""
        self.choose(remembered(QgsProject.instance()))

    def choose(self, archive):
        """Take an archive (None: none) and load it."""
        self._stop_watching()
        self.cancel()
        self.archive, self.problem = archive, ""
        self.loaded = self.findings = None
        if archive is not None:
            self._watch()
            if READ_AT_ONCE.value:
                self.load()
        self.changed.emit()

    def load(self):
        """Bring what is loaded up to date in the background; it stays usable until then."""
        self._run(before=self.loaded, touched=self._touched)

    def load_anew(self):
        """Read and build everything again."""
        self._run(with_checks=self.findings is not None)

    def check(self, ground):
        """Make all checks on the pipes as they are now, with the ground of a raster layer (its id; None: without)."""
        self.ground = ground
        self._run(before=self.loaded, touched=self._touched, with_checks=True)

    def cancel(self):
        self._settle.stop()
        if self._task is not None:
            task, self._task = self._task, None
            self._put_back()
            task.cancel()
            self.changed.emit()

    def close(self):
        """Let go of everything in QGIS."""
        self.cancel()
        self.look.close()
        self._stop_watching()
        project = QgsProject.instance()
        project.layersAdded.disconnect(self._look_again)
        project.layersRemoved.disconnect(self._look_again)
        project.readProject.disconnect(self._look_again)

    def _run(self, **how):
        self.cancel()
        if self.archive is None:
            return
        if is_locked(self.archive.place):
            self._refuse(LOCKED.format(path=self.archive.place))
            return
        if not self._is_ready:
            self._get_ready(how)
            return
        from ..limits import LimitError
        from ..qgis_layer.load import Loader, NotLoadedError
        from ..qgis_layer.raster import RasterError

        layers, transforms = self.archive.layers, QgsProject.instance().transformContext()
        ground = QgsProject.instance().mapLayer(self.ground or "")
        try:
            task = ReadTask(lambda canceled: Loader(layers, transforms, ground, **how,
                                                      accept_proposed=ACCEPT_PROPOSED.value, is_canceled=canceled))
        except (NotLoadedError, LimitError, RasterError) as fault:
            self._refuse(str(fault))
            return
        self._under_way, self._touched = self._touched, {name: set() for name in ASKED}
        task.done.connect(lambda loaded, findings: self._take(task, loaded, findings))
        task.failed.connect(lambda why: self._fail(task, why))
        task.progressChanged.connect(self.progressed)
        self._task = task
        QgsApplication.taskManager().addTask(task)
        self.changed.emit()

    def _refuse(self, why):
        self.problem = why
        self.changed.emit()

    def _get_ready(self, how):
        """Load the engine in the background, then go on."""
        task = self._task = EngineTask()
        task.done.connect(lambda: self._go_on(task, how))
        QgsApplication.taskManager().addTask(task)
        self.changed.emit()

    def _go_on(self, task, how):
        if task is self._task:
            self._task, self._is_ready = None, True
            self._run(**how)

    def _take(self, task, loaded, findings):
        if task is not self._task:
            return  # an older one, overtaken
        self._task, self.loaded, self.problem = None, loaded, ""
        self.findings = self._accepted.judged(findings)
        self.read_at = QDateTime.currentDateTime()
        self.changed.emit()

    def _fail(self, task, why):
        if task is not self._task:
            return
        self._task, self.problem = None, why
        self._put_back()
        self.changed.emit()

    def _put_back(self):
        """What was to be read has not been."""
        both = self._under_way.keys() & self._touched.keys()
        self._touched = {name: self._under_way[name] | self._touched[name] for name in both}

    def _look_again(self, *_):
        """Layers came or went: keep the archive if it is still there, else take another."""
        same = [a for a in self.archives() if self.archive is not None and a.place == self.archive.place]
        found = same[0] if same else remembered(QgsProject.instance())
        if found is None or self.archive is None or found.layers != self.archive.layers:
            if found is not None or self.archive is not None:
                self.choose(found)
        else:
            self.changed.emit()

    def judge_accepted(self):
        """The table of accepted findings is another."""
        self.findings = self._accepted.judged(self.findings)
        self.changed.emit()

    def _watch(self):
        self._accepted.watch(self.archive)
        for name in ASKED:
            layer = self.archive.layers.get(name)
            if layer is None:
                continue
            for signal in (layer.featureAdded, layer.featureDeleted, layer.geometryChanged,
                           layer.attributeValueChanged):
                self._connect(layer, signal, partial(self._edited, name))
            for signal in (layer.dataChanged, layer.afterCommitChanges, layer.afterRollBack,
                           layer.subsetStringChanged):
                self._connect(layer, signal, partial(self._edited, name, None))

    def _connect(self, layer, signal, slot):
        signal.connect(slot)
        self._watched.append((layer, signal, slot))

    def _stop_watching(self):
        self._accepted.stop()
        for layer, signal, slot in self._watched:
            if not sip.isdeleted(layer):  # else its signals are gone with it
                signal.disconnect(slot)
        self._watched = []

    def _edited(self, name, number, *_):
        """A feature of a layer is another; None: nobody knows which."""
        if number is None:
            self._touched.pop(name, None)
        elif name in self._touched:
            self._touched[name].add(number)
        if FOLLOW_EDITS.value and (self.loaded is not None or self.is_loading):
            self._settle.start()
        else:
            self.changed.emit()
