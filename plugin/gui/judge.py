"""Works out in the background what was asked last; what lies around the pipes is read once for each county."""

from __future__ import annotations

from qgis.core import QgsApplication, QgsProject
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QObject, pyqtSignal

from .judge_task import JudgeTask


class Judge(QObject):
    """`judged`: the answer; `failed`: a sentence."""

    judged = pyqtSignal(object)
    failed = pyqtSignal(str)

    def __init__(self, session, title, work, parent=None):
        """`work(asked, loaded, around, trees)` gives the answer, in another thread; `title` is shown meanwhile."""
        super().__init__(parent)
        self._session, self._title, self._work = session, title, work
        self._task = self._waiting = None
        self._trees_of, self._trees = None, None

    def ask(self, asked):
        """Work something out; of what is asked meanwhile only the last."""
        if self._task is not None:
            self._waiting = asked
            return
        from ..qgis_layer.raster import RasterError
        from ..qgis_layer.surroundings import Surroundings

        loaded, layers, ground = self._session.loaded, self._session.archive.layers, self._session.ground_layer()
        try:
            around = Surroundings(layers, ground, loaded.county.units, QgsProject.instance().transformContext())
        except RasterError as fault:
            self.failed.emit(str(fault))
            return

        def work():
            if self._trees_of is not loaded:
                self._trees_of, self._trees = loaded, around.read_trees()
            return self._work(asked, loaded, around, self._trees)

        task = JudgeTask(self._title, work)
        task.done.connect(lambda found: self._end(task, self.judged, found))
        task.failed.connect(lambda why: self._end(task, self.failed, why))
        self._task = task
        QgsApplication.taskManager().addTask(task)

    def cancel(self):
        """Nobody waits for an answer any more."""
        task, self._task, self._waiting = self._task, None, None
        if task is not None and not sip.isdeleted(task):
            task.cancel()

    @property
    def is_judging(self):
        return self._task is not None

    def _end(self, task, signal, answer):
        if task is not self._task:
            return  # given up meanwhile
        self._task, waiting = None, self._waiting
        self._waiting = None
        if answer:
            signal.emit(answer)
        if waiting is not None and self._session.loaded is not None:
            self.ask(waiting)
