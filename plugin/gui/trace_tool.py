"""The map tool of the trace: what pipe is under the cursor, and a click on one."""

from __future__ import annotations

from qgis.gui import QgsMapTool
from qgis.PyQt.QtCore import Qt, pyqtSignal
from qgis.PyQt.QtWidgets import QToolTip


class TraceTool(QgsMapTool):
    """`clicked`: a point of the map; `left`: Escape. `say_under(point)` gives the words for the pipe there, or nothing.
    """

    clicked = pyqtSignal(object)
    left = pyqtSignal()

    def __init__(self, canvas, say_under):
        super().__init__(canvas)
        self._say_under = say_under
        self.setCursor(Qt.CursorShape.CrossCursor)

    def canvasMoveEvent(self, event):
        said = self._say_under(event.mapPoint())
        at = self.canvas().mapToGlobal(event.pos())
        if said:
            QToolTip.showText(at, said, self.canvas())
        else:
            QToolTip.hideText()

    def canvasReleaseEvent(self, event):
        if event.button() == Qt.MouseButton.LeftButton:
            self.clicked.emit(event.mapPoint())

    def keyReleaseEvent(self, event):
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
