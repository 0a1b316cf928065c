"""Loads an archive in the background, with progress and cancel."""

from __future__ import annotations

from qgis.core import QgsTask
from qgis.PyQt.QtCore import pyqtSignal


class LoadTask(QgsTask):
    """Runs a Loader. Ends with `loaded` (a Loaded) or `failed` (a sentence, empty when it was canceled)."""

    loaded = pyqtSignal(object)
    failed = pyqtSignal(str)

    def __init__(self, loader):
        super().__init__("Fallkeeper: reading the pipes", QgsTask.Flag.CanCancel)
        self._loader, self._result, self._fault = loader, None, ""

    def run(self):
        from ..qgis_layer.load import NotLoadedError
        from ..qgis_layer.read import ReadCanceledError

        try:
            self._result = self._loader.load(lambda share: self.setProgress(100.0 * share), self.isCanceled)
        except (NotLoadedError, OSError) as fault:
            self._fault = str(fault)
        except ReadCanceledError:
            self._fault = ""
        except Exception as fault:  # a fault of the program: an exception that leaves a task would end QGIS
            self._fault = f"The pipes could not be read, which is a fault of the program: {fault!r}"
        return self._result is not None and not self.isCanceled()

    def finished(self, went_well):
        if went_well:
            self.loaded.emit(self._result)
        else:
            self.failed.emit(self._fault)
