"""Reads an archive in the background, and checks it where that is asked, with progress and cancel."""

from __future__ import annotations

from qgis.core import QgsTask
from qgis.PyQt.QtCore import pyqtSignal


class EngineTask(QgsTask):
    """Loads the engine with its libraries, which takes a second or two the first time. Ends with `done`."""

    done = pyqtSignal()

    def __init__(self):
        super().__init__("Fallkeeper: getting ready")

    def run(self):
        from ..answers import answer, findings, state, trace  # noqa: F401 (loaded here so that the window need not)
        from ..qgis_layer import load  # noqa: F401

        return True

    def finished(self, went_well):
        self.done.emit()


class ReadTask(QgsTask):
    """Ends with `done` (a Loaded, and a FindingsView or None) or `failed` (a sentence, empty when it was canceled)."""

    done = pyqtSignal(object, object)
    failed = pyqtSignal(str)

    def __init__(self, make_loader):
        """`make_loader(is_canceled)` gives a Loader; it is called here, on the main thread."""
        super().__init__("Fallkeeper: reading the pipes", QgsTask.Flag.CanCancel)
        self._loader = make_loader(self.isCanceled)
        self._result, self._fault = None, ""

    def run(self):
        from ..checks.run import CanceledError
        from ..elevation.ground import SamplingCanceledError
        from ..qgis_layer.load import NotLoadedError
        from ..qgis_layer.raster import RasterError
        from ..qgis_layer.read import ReadCanceledError

        try:
            loaded = self._loader.load(lambda share: self.setProgress(100.0 * share))
            self._result = loaded, _findings(loaded)
        except (CanceledError, SamplingCanceledError, ReadCanceledError):
            return False
        except (NotLoadedError, RasterError, OSError) as fault:
            self._fault = str(fault)
        except Exception as fault:  # a fault of the program: an exception that leaves a task would end QGIS
            self._fault = f"The pipes could not be read, which is a fault of the program: {fault!r}"
        return self._result is not None and not self.isCanceled()

    def finished(self, went_well):
        if went_well:
            self.done.emit(*self._result)
        else:
            self.failed.emit(self._fault)


def _findings(loaded):
    if loaded.checked is None:
        return None
    from ..answers.findings import FindingsView

    view = FindingsView(loaded.checked.case, loaded.checked.results.findings)
    view.groups()  # sorted and drawn here, so that the panel need not wait
    view.said()
    _ = view.shapes, view.system_names
    return view
