"""Looks over an archive in the background when it is opened, and puts back what watches its changes."""

from __future__ import annotations

from pathlib import Path

from qgis.core import QgsApplication, QgsProject, QgsTask
from qgis.PyQt.QtCore import QCoreApplication, QObject, pyqtSignal

from ..qgis_layer.archive_edit import edited_layers, user_name


def tr(text):
    return QCoreApplication.translate("ArchiveLook", text)


class ArchiveLook(QObject):
    """Follows the archive of a session. `sentences`: what was found, and what of it was put right."""

    changed = pyqtSignal()

    def __init__(self, session):
        super().__init__(session)
        self.sentences = []
        self._place = self._task = None
        self._session = session
        session.changed.connect(self._follow)

    @property
    def is_looking(self):
        return self._task is not None

    def close(self):
        if self._task is not None:
            task, self._task = self._task, None
            task.cancel()

    def _follow(self):
        archive = self._session.archive
        place = None if archive is None else archive.place
        if place == self._place:
            return
        self.close()
        self._place, self.sentences = place, []
        if not isinstance(place, Path):
            return  # a database keeps its triggers itself
        mend = not edited_layers(place, QgsProject.instance())
        self._task = task = _LookTask(place, user_name(), mend)
        task.taskCompleted.connect(lambda: self._take(task))
        task.taskTerminated.connect(lambda: self._take(task))
        QgsApplication.taskManager().addTask(task)

    def _take(self, task):
        if task is self._task:
            self._task, self.sentences = None, task.sentences
            self.changed.emit()


class _LookTask(QgsTask):
    def __init__(self, path, who, mend):
        super().__init__("Fallkeeper: looking over the archive", QgsTask.Flag.CanCancel)
        self._path, self._who, self._mend = path, who, mend
        self.sentences = []

    def run(self):
        from ..history.verify import CanceledError, verify_archive
        from ..schema.faults import ArchiveError, NoArchiveError

        try:
            verified = verify_archive(self._path, self._who, self._mend, self.isCanceled)
        except CanceledError:
            return False
        except NoArchiveError:
            pass  # lines of somebody's own
        except ArchiveError as fault:
            self.sentences = [str(fault)]
        except Exception as fault:  # a fault of the program: an exception that leaves a task would end QGIS
            self.sentences = [f"The archive could not be looked over, which is a fault of the program: {fault!r}"]
        else:
            self.sentences = [f"{fault.sentence} {tr('Put right.')}" if fault.mended else fault.sentence
                              for fault in verified.faults]
            if verified.not_mended:
                self.sentences.append(f"{tr('Nothing was put right:')} {verified.not_mended}")
        return True
