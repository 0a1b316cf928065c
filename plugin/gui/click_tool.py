"""What map tools that wait for one click have in common."""

from __future__ import annotations

from qgis.gui import QgsMapTool
from qgis.PyQt.QtCore import Qt, pyqtSignal


class ClickTool(QgsMapTool):
    """`clicked`: a point of the map; `left`: Escape."""

    clicked = pyqtSignal(object)
    left = pyqtSignal()

    def __init__(self, canvas):
        super().__init__(canvas)
        self.setCursor(Qt.CursorShape.CrossCursor)

    def canvasReleaseEvent(self, event):
        if event.button() == Qt.MouseButton.LeftButton:
            self.clicked.emit(event.mapPoint())

    def keyReleaseEvent(self, event):
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
