"""Works one thing out in the background."""

from __future__ import annotations

from qgis.core import QgsTask
from qgis.PyQt.QtCore import pyqtSignal


class JudgeTask(QgsTask):
    """Ends with `done` (what was worked out) or `failed` (a sentence)."""

    done = pyqtSignal(object)
    failed = pyqtSignal(str)

    def __init__(self, title, judge):
        """`judge()` gives the answer; it raises RouteError, RasterError with a sentence."""
        super().__init__(f"Fallkeeper: {title}", QgsTask.Flag.CanCancel)
        self._judge, self._found, self._fault = judge, None, ""

    def run(self):
        from ..elevation.ground import SamplingCanceledError
        from ..qgis_layer.raster import RasterError
        from ..reroute.plan import RouteError

        try:
            self._found = self._judge()
        except (RouteError, RasterError) as fault:
            self._fault = str(fault)
        except SamplingCanceledError:
            return False
        except Exception as fault:  # a fault of the program: an exception that leaves a task would end QGIS
            self._fault = f"It could not be worked out, which is a fault of the program: {fault!r}"
        return self._found is not None

    def finished(self, went_well):
        if went_well:
            self.done.emit(self._found)
        else:
            self.failed.emit(self._fault)
