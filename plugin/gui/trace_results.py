"""What becomes of an answer: layers with symbols, or a page to print."""

from __future__ import annotations

from qgis.core import (
    QgsApplication,
    QgsProcessingAlgRunnerTask,
    QgsProcessingContext,
    QgsProcessingFeedback,
    QgsProcessingOutputLayerDefinition,
    QgsProject,
)
from qgis.PyQt.QtCore import QBuffer, QCoreApplication, QDate, QIODevice, QObject, Qt, pyqtSignal

from .settings import LETTER, PAPER, PAPER_AUTO

_LAYERS = {"DRAINS": "drains", "STRUCTURES": "structures", "SHOTS": "shots", "LAND": "land"}
_TRACES = ("traceupstream", "tracedownstream")


def tr(text):
    return QCoreApplication.translate("TraceResults", text)


class KeptTrace(QObject):
    """Runs both traces as algorithms in the background, so that their results arrive as layers with symbols.

    `told`: a sentence at the end.
    """

    told = pyqtSignal(str)

    def __init__(self, parent=None):
        super().__init__(parent)
        self._running, self._names = [], []

    @property
    def is_running(self):
        return bool(self._running)

    def keep(self, archive, point, title):
        """`point`: on a pipe, in the CRS of the drains; `title` stands behind the names of the layers."""
        given = {key: archive.layers[name] for key, name in _LAYERS.items() if name in archive.layers}
        self._names = []
        for name in _TRACES:
            algorithm = QgsApplication.processingRegistry().createAlgorithmById(f"fallkeeper:{name}")
            inputs = {key: layer for key, layer in given.items() if algorithm.parameterDefinition(key) is not None}
            inputs["POINT"] = f"{point.x()!r},{point.y()!r}"
            for sink in algorithm.destinationParameterDefinitions():
                inputs[sink.name()] = wanted = QgsProcessingOutputLayerDefinition(
                    "TEMPORARY_OUTPUT", QgsProject.instance())
                wanted.destinationName = f"{sink.description()}: {title}"
            if "LAND" not in given:
                inputs.pop("LAND_ABOVE", None)
            self._start(algorithm, inputs)

    def stop(self):
        for _, _, _, feedback in self._running:
            feedback.cancel()
        self._running = []

    def _start(self, algorithm, inputs):
        context, feedback = QgsProcessingContext(), QgsProcessingFeedback()
        context.setProject(QgsProject.instance())
        task = QgsProcessingAlgRunnerTask(algorithm, inputs, context, feedback)
        run = (task, algorithm, context, feedback)  # QGIS keeps no Python reference of its own
        task.executed.connect(lambda went_well, results: self._take(run, went_well))
        self._running.append(run)
        QgsApplication.taskManager().addTask(task)

    def _take(self, run, went_well):
        if run not in self._running:
            return
        self._running.remove(run)
        _, _, context, feedback = run
        if not went_well:
            self.stop()
            said = feedback.textLog().strip().splitlines() or [tr("nobody says why")]
            self.told.emit(f"{tr('The layers could not be made')}: {said[-1]}")
            return
        for number, details in context.layersToLoadOnCompletion().items():
            layer = context.takeResultLayer(number)
            if layer is not None:
                details.setOutputLayerName(layer)
                if details.postProcessor() is not None:
                    details.postProcessor().postProcessLayer(layer, context, feedback)
                QgsProject.instance().addMapLayer(layer)
                self._names.append(layer.name().partition(":")[0])
        if not self._running:
            self.told.emit(f"{tr('Kept as layers')}: {', '.join(self._names)}")


def print_answer(path, answer, archive, state, canvas, units):
    """Write a page with what the map shows, the answer and the cautions. Raises OSError."""
    from ..answers.printed import answer_blocks
    from ..qgis_layer.pdf import write_pdf
    from ..report.markup import escape

    shown = canvas.grab()
    about = f"{archive.title}, {QDate.currentDate().toString(Qt.DateFormat.ISODate)}. {state}"
    blocks = answer_blocks(answer, about, _png(shown), (float(shown.width()), float(shown.height())))
    letter = units.is_us if PAPER.value == PAPER_AUTO else PAPER.value == LETTER
    write_pdf(path, answer.title, escape(f"{answer.title}, {about}"), blocks, letter)


def _png(pixmap):
    """A picture as words."""
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    pixmap.save(buffer, "PNG")
    return bytes(buffer.data().toBase64()).decode("ascii")
