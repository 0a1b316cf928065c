"""The map tool of what is written down: one click puts it, on the pipe where that is meant."""

from __future__ import annotations

from qgis.gui import QgsVertexMarker
from qgis.PyQt import sip
from qgis.PyQt.QtGui import QColor

from .click_tool import ClickTool

_SNAPPED = QColor(120, 40, 120)


class WriteDownTool(ClickTool):
    """`snap(point)`: the point on a pipe it will be put at, or None."""

    def __init__(self, canvas, snap):
        super().__init__(canvas)
        self._snap = snap
        self._mark = QgsVertexMarker(canvas)
        self._mark.setIconType(QgsVertexMarker.IconType.ICON_CIRCLE)
        self._mark.setColor(_SNAPPED)
        self._mark.setPenWidth(3)
        self._mark.setIconSize(14)
        self._mark.hide()

    def remove(self):
        """Take everything off the canvas for good."""
        self.canvas().scene().removeItem(self._mark)
        sip.delete(self._mark)

    def deactivate(self):
        self._mark.hide()
        super().deactivate()

    def canvasMoveEvent(self, event):
        on_pipe = self._snap(event.mapPoint())
        self._mark.setVisible(on_pipe is not None)
        if on_pipe is not None:
            self._mark.setCenter(on_pipe)
