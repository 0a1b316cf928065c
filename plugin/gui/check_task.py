"""Runs the checks in the background, with progress and cancel."""

from __future__ import annotations

from qgis.core import QgsTask
from qgis.PyQt.QtCore import pyqtSignal


class CheckTask(QgsTask):
    """Ends with `checked` (a FindingsView) or `failed` (a sentence, empty when it was canceled)."""

    checked = pyqtSignal(object)
    failed = pyqtSignal(str)

    def __init__(self, make_loader):
        """`make_loader(is_canceled)` gives a CheckLoader; it is called here, on the main thread."""
        super().__init__("Fallkeeper: checking the drains", QgsTask.Flag.CanCancel)
        self._loader = make_loader(self.isCanceled)
        self._result, self._fault = None, ""

    def run(self):
        from ..answers.findings import FindingsView
        from ..checks.run import CanceledError
        from ..elevation.ground import SamplingCanceledError
        from ..qgis_layer.raster import RasterError
        from ..qgis_layer.read import ReadCanceledError

        try:
            case, results = self._loader.check(lambda share: self.setProgress(100.0 * share))
            self._result = FindingsView(case, results.findings)
        except (CanceledError, SamplingCanceledError, ReadCanceledError):
            return False
        except (RasterError, OSError) as fault:
            self._fault = str(fault)
        except Exception as fault:  # a fault of the program: an exception that leaves a task would end QGIS
            self._fault = f"The checks broke off, which is a fault of the program: {fault!r}"
        return self._result is not None

    def finished(self, went_well):
        if went_well:
            self.checked.emit(self._result)
        else:
            self.failed.emit(self._fault)
